"""Tells where an export may have been computed without the grid file of its datum, and no mark would show it.

National grids on an older datum are defined by a file of shifts. A controller that lacks it takes seven parameters
instead, which fit the country to decimetres: by metres alike over a site, which the shift takes up, and by centimetres
more with every kilometre, which it does not.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.geodesy.own_places import own_places
from pipeline.geodesy.plain_datum_steps import TwoWays, two_ways
from pipeline.intake.survey import Survey
from pipeline.solve.solve import Solved
from pipeline.sphere import DEGREE

#: Metres beyond which a place is no part of the work, as of a reading that is held back.
_WORK = 50_000.0


class _Left(Struct, frozen=True):
    """What may be left at the ends of a session's work, ``off`` [m], so far ``away`` [m] from what was occupied."""

    session: str
    off: float
    away: float


def plain_datum_notes(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield the projected exports of which more than the tolerance of checks may be left where no mark was occupied."""
    for number, export in enumerate(survey.exports):
        ways = two_ways(export.points.crs or "", survey.operations.area)
        if ways is None:
            continue
        left = [one for one in _left(survey, solved, number, ways) if one.off > survey.job.checks.horizontal]
        if left:
            most = max(left, key=lambda one: one.off)
            yield (
                f"{export.shown}: its datum is defined by a file of shifts ({ways.files}). If the controller had none"
                f" and computed these coordinates by parameters ({ways.plain_name}), what is"
                f" {most.away / 1000:.1f} km from the marks occupied in session {most.session} is up to"
                f" {most.off:.2f} m off, and no check shows it: check that the controller has that file, or occupy a"
                " mark out there"
            )


def _left(survey: Survey, solved: Solved, number: int, ways: TwoWays) -> Iterator[_Left]:
    """Yield what may be left in each session of an export, unless its marks lie so that checks would show it."""
    extent, on_marks = survey.first_pass.files[number].extent, solved.occupations
    crs = survey.exports[number].points.crs or ""
    for window in survey.windows:
        low, high = extent.low[window.index], extent.high[window.index]
        here = on_marks.session == window.index
        if not here.any() or not np.isfinite([low, high]).all():
            continue
        middle = (low + high) / 2.0
        ends = np.array([[low[0], middle[1]], [high[0], middle[1]], [middle[0], low[1]], [middle[0], high[1]]])
        work = np.column_stack(own_places(crs, ends[:, 0], ends[:, 1], np.zeros(4))[:2])
        marks = np.column_stack([on_marks.corrected.longitude[here], on_marks.corrected.latitude[here]])
        turn = DEGREE * np.array([np.cos(np.radians(marks[0, 1])), 1.0])
        differ = [ways.apart(*places.T) for places in (marks, work)]
        seen = np.hypot(*(differ[0] - differ[0].mean(axis=0)).T)
        off = np.hypot(*(differ[1] - differ[0].mean(axis=0)).T)
        away = np.hypot(*((work[:, None] - marks[None]) * turn).transpose(2, 0, 1)).min(axis=1)
        off = np.where(np.isfinite(off) & (away < _WORK), off, 0.0)
        if np.isfinite(seen).all() and seen.max() < survey.job.checks.horizontal:
            at = int(np.argmax(off))
            yield _Left(window.session.name, float(off[at]), float(away[at]))
