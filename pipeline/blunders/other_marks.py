"""The rover stood on another mark of the register than it says: at one occupation, or at all of a mark in a session."""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import Hypothesis, Kind
from pipeline.near import and_more
from pipeline.words import Role, plural

#: Points that a sentence names.
_NAMED = 3
#: The observation that would decide whether a base stood where its set-up has it.
ROVER_TIE = "a rover tie on a mark of the register"


def several(scope: Scope, own: Integers) -> Iterator[list[int]]:
    """Yield the occupations of each mark that a session occupies more than once: one name is misread every time."""
    by_mark: dict[str, list[int]] = {}
    for row in own.tolist():
        by_mark.setdefault(scope.case.solved.occupations.marks[row], []).append(row)
    yield from (rows for rows in by_mark.values() if len(rows) > 1)


def stood_elsewhere(scope: Scope, rows: Sequence[int]) -> tuple[int, list[Hypothesis]]:
    """Return that the rover stood on another mark at occupations of one mark, and how many marks were tried.

    Only the marks that could lie where it stood are worked out.
    """
    case = scope.case
    on_marks, reference = case.solved.occupations, case.solved.reference
    mark = on_marks.marks[rows[0]]
    other = np.arange(len(reference.names)) != case.mark[rows[0]]
    others = np.flatnonzero(other & np.isfinite(reference.xyz).all(axis=1))
    tied = [row for row in rows if on_marks.roles[row] is Role.TIE]
    chosen, shapes = _of_ties(scope, rows, tied, others) if tied else _of_checks(scope, rows, others)
    names = [point_name(scope, row) for row in rows]
    listed = ", ".join(names[:_NAMED]) + and_more(len(names) - _NAMED)
    found = []
    for number, shape in zip(chosen.tolist(), shapes, strict=True):
        text = f"{listed} {plural(len(names), 'was', 'were')} on {reference.names[number]}, not on {mark}"
        found.append(Hypothesis(Kind.OTHER_MARK, text, shape, decide=again(mark)))
    return len(others), found


def _of_checks(scope: Scope, rows: Sequence[int], others: Integers) -> tuple[Integers, Floats]:
    case = scope.case
    found, grid = case.solved.occupations.corrected, case.solved.reference.grid[others]
    near = np.ones(len(others), bool)
    for row in rows:
        off = np.abs(grid - [found.easting[row], found.northing[row], found.height[row]])
        near &= (np.nan_to_num(off) <= case.tolerance.axes()).all(axis=1)
    shapes = [scope.influence.elsewhere(row, np.nan_to_num(grid[near] - case.known[row])) for row in rows]
    return others[near], np.asarray(np.sum(shapes, axis=0))


def _of_ties(scope: Scope, rows: Sequence[int], tied: Sequence[int], others: Integers) -> tuple[Integers, Floats]:
    """A tie on a mark of the register takes its session's shift along, which has to be a likely one afterwards."""
    case = scope.case
    on_marks, reference = case.solved.occupations, case.solved.reference
    if case.mark[rows[0]] < 0 or not np.isfinite(reference.xyz[case.mark[rows[0]]]).all():
        return others[:0], np.zeros((0, len(scope.influence.rows) + len(scope.sessions), 3))
    errors = reference.xyz[others] - reference.xyz[case.mark[rows[0]]]
    shift = case.local[on_marks.session[rows[0]]] * case.scale
    change = np.sum([scope.influence.shift_if_displaced(row, errors) for row in tied], axis=0)
    likely = (np.abs(shift - change) <= case.tolerance.axes()).all(axis=1)
    shapes = scope.influence.displaced(rows, errors[likely])
    whole = np.isfinite(shapes).all(axis=(1, 2))
    return others[likely][whole], shapes[whole]


def again(mark: str) -> str:
    """Return the observation that would decide whether something is wrong at an occupation of a mark."""
    return f"{mark} occupied again"


def point_name(scope: Scope, row: int) -> str:
    """Return the name of an occupation's point."""
    return str(scope.case.solved.occupations.table.column("name")[row].as_py())
