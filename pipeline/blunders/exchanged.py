"""Two marks taken for one another: their coordinates or heights in the register, or the names of readings on them."""

from collections.abc import Iterator
from functools import partial
from itertools import combinations, pairwise

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.blunders.coordinates import register_row
from pipeline.blunders.influence import Restated
from pipeline.blunders.other_marks import again, point_name
from pipeline.blunders.outlook import Outlook
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import ALL, HEIGHT, LEVEL, Hypothesis, Kind, WeighedDifferences

#: Pairs of marks that are tried, the nearest first: whoever takes two marks for one another had both at hand.
_PAIRS = 60
#: By how many times the largest difference two marks may be apart, and of that in plan how much may be in height.
_PARTS, _BENT = 4.0, 0.05
_WHAT = ((ALL, "coordinates"), (LEVEL, "positions"), (HEIGHT, "heights"))


def exchanged_in_register(scope: Scope, evidence: WeighedDifferences, outlook: Outlook) -> tuple[int, list[Hypothesis]]:
    """Return that two marks in question have each other's coordinates in the register, and how many ways were tried.

    Those that cannot fit are told by how far the marks are apart, then by a few rows, and left out.
    """
    tried, found, reach = 0, list[Hypothesis](), _reach(scope, evidence)
    for one, other in _pairs(scope):
        decide = f"the published coordinates of {one} and {other}"
        for what, swapped in scope.case.once(("exchanged", one, other), partial(_swapped, scope, one, other)):
            tried += 1
            off = np.abs(swapped[0].meant - swapped[0].written)
            if np.hypot(off[0], off[1]) > reach[0] or off[2] > reach[1]:
                continue
            some = scope.influence.restated(swapped, outlook.rows)
            if not np.isfinite(some).all() or not outlook.may_fit(some[None], np.zeros(1))[0]:
                continue
            shape = scope.influence.restated(swapped)
            if np.isfinite(shape).all():
                text = f"the {what} of {one} and {other} are swapped in the register"
                found.append(Hypothesis(Kind.EXCHANGED, text, shape, decide=decide))
    return tried, found


def exchanged_in_field(scope: Scope, own: Integers, evidence: WeighedDifferences) -> Iterator[Hypothesis]:
    """Yield that occupations of two marks in a session have each other's names: all of them, or two in a row.

    Marks that are too far apart for what is seen are left out. ``own`` (k,) are rows of `compare.OnMarks`, by time.
    """
    on_marks, reach = scope.case.solved.occupations, _reach(scope, evidence)
    grid = np.nan_to_num(scope.case.solved.reference.grid)
    rows = [row for row in own.tolist() if on_marks.marks[row] in scope.case.number]
    rows.sort(key=lambda row: int(on_marks.time[row]))
    by_mark: dict[str, list[int]] = {}
    for row in rows:
        by_mark.setdefault(on_marks.marks[row], []).append(row)

    def near(one: str, other: str) -> bool:
        off = np.abs(grid[scope.case.number[one]] - grid[scope.case.number[other]])
        return bool(np.hypot(off[0], off[1]) <= reach[0] and off[2] <= reach[1])

    seen = set[tuple[int, ...]]()
    for one, other in _pairs(scope):
        both = sorted([*by_mark.get(one, ()), *by_mark.get(other, ())], key=rows.index)
        if one in by_mark and other in by_mark and near(one, other):
            seen.add(tuple(both))
            every = f"{one} and {other} are swapped: every reading in the session named after one was on the other"
            yield from _stood(scope, both, one, other, every if len(both) > 2 else _two(scope, *both))
    for first, second in pairwise(rows):
        one, other = on_marks.marks[first], on_marks.marks[second]
        if one != other and (first, second) not in seen and near(one, other):
            yield from _stood(scope, [first, second], one, other, _two(scope, first, second))


def _reach(scope: Scope, evidence: WeighedDifferences) -> tuple[float, float]:
    """Return how far apart in plan and in height two marks may be whose exchange shows no more than what is seen.

    It shows whole at one of the two or at what hangs on them, or in parts: of two ties the half.
    """
    seen = np.where(evidence.known, np.abs(evidence.difference), 0.0).max(axis=0, initial=0.0)
    tolerance = scope.case.tolerance
    plan, height = _PARTS * float(np.hypot(seen[0], seen[1])), _PARTS * float(seen[2])
    # heights of marks far apart are seen in the positions of a bent earth, and the other way
    return plan + tolerance.horizontal, height + tolerance.vertical + _BENT * plan


def _two(scope: Scope, first: int, second: int) -> str:
    one, other = (scope.case.solved.occupations.marks[row] for row in (first, second))
    return f"{point_name(scope, first)} was on {other}, and {point_name(scope, second)} on {one}: swapped"


def _stood(scope: Scope, rows: list[int], one: str, other: str, text: str) -> Iterator[Hypothesis]:
    case = scope.case
    places = {mark: case.solved.reference.xyz[case.number[mark]] for mark in (one, other)}
    apart = places[other] - places[one]
    errors = np.array([apart if case.solved.occupations.marks[row] == one else -apart for row in rows])
    shape = scope.influence.each_displaced(rows, errors) if np.isfinite(apart).all() else errors * np.nan
    if np.isfinite(shape).all():
        yield Hypothesis(Kind.EXCHANGED, text, shape, decide=f"{again(one)}, and {other}")


def _pairs(scope: Scope) -> list[tuple[str, str]]:
    """Return the pairs of marks in question in the register's order, where they are many the nearest."""
    found: list[tuple[str, str]] = scope.case.once(("pairs", *scope.marks), lambda: _nearest(scope))
    return found


def _nearest(scope: Scope) -> list[tuple[str, str]]:
    xyz = scope.case.solved.reference.xyz
    marks = sorted(scope.marks, key=scope.case.number.__getitem__)
    pairs = list(combinations(marks, 2)) if len(marks) <= _PAIRS else list(pairwise(marks))
    if len(pairs) > _PAIRS:
        number = np.array([[scope.case.number[mark] for mark in pair] for pair in pairs])
        apart = np.nan_to_num(np.linalg.norm(xyz[number[:, 0]] - xyz[number[:, 1]], axis=1), nan=np.inf)
        pairs = [pairs[at] for at in np.argsort(apart, kind="stable")[:_PAIRS].tolist()]
    return pairs


def _swapped(scope: Scope, one: str, other: str) -> list[tuple[str, list[Restated]]]:
    """Return what may be exchanged between two marks of the register, with what each of them should then say.

    Heights that hardly differ are not told from their own, nor then the positions from all.
    """
    case = scope.case
    register, operation = case.survey.register, case.survey.operations.register
    numbers = [register.find(mark) for mark in (one, other)] if register is not None else [None]
    if register is None or operation is None or None in numbers:
        return []
    rows = np.array([register_row(register, number) for number in numbers if number is not None])
    if not np.isfinite(rows[:, :2]).all():
        return []
    heights = np.isfinite(rows[:, 2]).all() and abs(rows[0, 2] - rows[1, 2]) > 2.0 * case.tolerance.vertical
    found = []
    for axes, what in _WHAT if heights else _WHAT[:1]:
        meant = np.where(axes, rows[::-1], rows)
        found.append((what, [restated(scope, mark, at) for mark, at in zip((one, other), meant, strict=True)]))
    return found


def restated(scope: Scope, mark: str, meant: Floats) -> Restated:
    """Return a mark of the register with the (3,) coordinates that it was meant to have, NaN where it gives none."""
    case = scope.case
    reference, at = case.solved.reference, case.number[mark]
    operation = case.survey.operations.register
    assert operation is not None
    none = np.isnan(meant)
    instead = np.array([float(part) for part in operation.inverse(*reference.xyz[at])])
    xyz = np.array([float(part) for part in operation.forward(*np.where(none, instead, meant))])
    grid = np.array([float(part) for part in case.survey.operations.frames.to_issued.forward(*xyz)])
    written = np.nan_to_num(reference.grid[at])
    # what the register does not give is not compared either
    return Restated(mark, written, np.where(none, written, grid), reference.xyz[at], xyz)
