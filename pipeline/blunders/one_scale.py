"""The hypothesis that the whole register has one wrong scale: ground distances instead of grid distances.

A scale about any point is one about another, and a shift: the shifts take the rest up. So it is tried about a mark that
ties, which the shifts hardly notice, and about the origin of the numbers, which moves the sessions along. How large it
is has to be found, so it is charged for that: every octave is as likely.
"""

import math
from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.blunders.coordinates import register_row
from pipeline.blunders.exchanged import restated
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import Hypothesis, Kind, WeighedDifferences
from pipeline.geodesy import crs
from pipeline.replace import replace

#: Scales that ground distances have against a grid's: from a few metres above the ellipsoid to high plateaus at the
#: edge of a wide zone. Common practice, no source.
_LEAST, _MOST = 5e-6, 2e-3
#: Marks that one scale must explain, the one that ties among them: two agree with some scale by chance.
_MARKS = 3
#: Part of the tolerance by which the predicted differences of a mark tell of the scale.
_TELLS = 0.5
#: Marks that are restated at most: beyond, a few of the register would do as well.
_RESTATED = 200
_DECIDE = (
    "the combined scale factor that the register states, or the distance between two of its marks from coordinates,"
    " compared with the grid distance"
)


def one_scale(scope: Scope, evidence: WeighedDifferences) -> Iterator[Hypothesis]:
    """Yield that the register's positions are all larger or smaller by one scale than those of its grid."""
    case = scope.case
    register, operation = case.survey.register, case.survey.operations.register
    if register is None or operation is None or register.kind != "projected":
        return
    on_marks = case.solved.occupations
    seen = {on_marks.marks[row] for row in scope.influence.rows}
    seen.update(mark for session in scope.sessions for mark in case.tied_marks(session))
    named = [mark for mark in dict.fromkeys([*scope.marks, *on_marks.marks]) if mark in case.number][:_RESTATED]
    numbers = [register.find(mark) for mark in named]
    rows = np.array([register_row(register, number) for number in numbers if number is not None]).reshape(-1, 3)
    if len(rows) != len(named) or not np.isfinite(rows[:, :2]).all() or len(seen & set(named)) < _MARKS:
        return
    projected = any(crs.kind_of(crs.source_crs(one.points.crs or "")) == "projected" for one in case.survey.exports)
    of_readings = ", or the readings' distances are off the opposite way" if projected else ""
    ties = [mark for session in scope.sessions for mark in case.tied_marks(session) if mark in named]
    fixed = rows[named.index(ties[0]), :2] if ties else rows[:, :2].mean(axis=0)
    for about, point in (("", fixed), (" about the origin of its coordinates", np.zeros(2))):
        shape = _shape(scope, named, rows, point, _LEAST)
        whitener, white = evidence.white()
        per = whitener(shape) / _LEAST
        information = float((per**2).sum())
        if not np.isfinite(information) or information <= 0.0:
            continue
        size, sigma = float((per * white).sum()) / information, 1.0 / math.sqrt(information)
        if not _LEAST <= abs(size) <= _MOST:
            continue
        shape = _shape(scope, named, rows, point, size)
        if np.isfinite(shape).all() and len(_telling(scope, shape)) >= _MARKS - 1:
            yield _hypothesis(shape, size, sigma, f"{about}{of_readings}")


def _hypothesis(shape: Floats, size: float, sigma: float, about: str) -> Hypothesis:
    """Return the hypothesis of a scale that was found; its size was guessed in so many ways as its sigma leaves."""
    ways = 2.0 * abs(size) * math.log(_MOST / _LEAST) / (sigma * math.sqrt(2.0 * math.pi))
    longer = "longer" if size > 0.0 else "shorter"
    text = (
        f"the register's distances are all {abs(size) * 1e6:.0f} ppm {longer} than the grid's{about}: distances on the"
        f" ground, for a combined scale factor of {1.0 / (1.0 + size):.6f}?"
    )
    found = Hypothesis(Kind.ONE_SCALE, text, shape, decide=_DECIDE)
    return replace(found, guesses=max(ways, 1.0))


def _shape(scope: Scope, names: list[str], rows: Floats, point: Floats, size: float) -> Floats:
    """Return (n + s, 3) the differences if the register's positions are too large by a part ``size`` about a point."""
    meant = rows.copy()
    meant[:, :2] = point + (rows[:, :2] - point) / (1.0 + size)
    return scope.influence.restated([restated(scope, *each) for each in zip(names, meant, strict=True)])


def _telling(scope: Scope, shape: Floats) -> set[str]:
    """Return the marks at whose occupations a scale shows by a good part of the tolerance."""
    level = np.hypot(shape[:, 0], shape[:, 1])[: len(scope.influence.rows)]
    rows = scope.influence.rows[level >= _TELLS * scope.case.tolerance.horizontal]
    return {scope.case.solved.occupations.marks[row] for row in rows}
