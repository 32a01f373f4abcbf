"""Which marks of the register are stated otherwise than in the last issue, and which sessions that reaches."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.intake.survey import Survey
from pipeline.issue.made_from import PART
from pipeline.issue.record_types import RegisterMark
from pipeline.reissue.changes import MOVED
from pipeline.reissue.earlier import Last
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.register_changes import mark_changes
from pipeline.reissue.stated_uncertainties import as_stated
from pipeline.solve.solve import Solved
from pipeline.sphere import DEGREE

#: What a record says of a mark besides its coordinates: it shapes nothing.
_OF_ORIGIN = frozenset(("source", "dated", "others", "former"))


class ChangedMark(Struct, frozen=True):
    """A mark stated otherwise: in words, with the sessions that it reaches, and those whose shift it does."""

    text: str
    sessions: list[str]
    moved: set[str]


def changed_marks(last: Last, survey: Survey, solved: Solved, now: Fingerprint) -> Iterator[ChangedMark]:
    """Yield each mark of the register that is stated otherwise than in the last issue."""
    control, register = survey.job.control, survey.register
    if control is None or register is None:
        return
    key = f"{PART}[control]"
    as_before = last.record["identity"].get(key) == now.sums.get(key)
    unstated = (control.sigma_horizontal, control.sigma_vertical)
    before, after = as_stated(last.record["register"], now.register, register, unstated, as_before=as_before)
    for mark, text in mark_changes(before, after).items():
        moved, seen = _reached(last, survey, solved, mark, now.register)
        sessions = [window.session.name for window in survey.windows if window.session.name in moved | seen]
        yield ChangedMark(text + _stays(solved, mark), sessions, moved)


def _reached(
    last: Last, survey: Survey, solved: Solved, mark: str, rows: Sequence[RegisterMark]
) -> tuple[set[str], set[str]]:
    """Return the sessions whose shift a mark's revision reaches, and those in which the mark is occupied."""
    names = [window.session.name for window in survey.windows]
    on_marks = solved.occupations
    occupied = {names[s] for s, name in zip(on_marks.session, on_marks.marks, strict=True) if name == mark}
    if mark not in solved.tied.marks.names:
        return set(), occupied
    node = solved.tied.marks.names.index(mark)
    ties = solved.shifts.adjustment.ties
    reached = np.zeros(len(names), bool)
    for group in (ties.position_group, ties.height_group):
        reached |= group[: len(names)] == group[len(names) + node]
    revision = _revision(last, mark, rows)
    control = np.flatnonzero(solved.shifts.control == node)
    if revision is not None and len(control):
        chosen = np.flatnonzero(reached)
        number = len(solved.tied.occupied) + int(control[0])
        change = np.where(solved.tied.marks.held[node], -revision, 0.0)
        moves = np.linalg.norm(solved.shifts.response.shifts(number, change, chosen), axis=1)
        reached[chosen] = ~(moves < MOVED / 10)
    return {names[number] for number in np.flatnonzero(reached)}, occupied


def _revision(last: Last, mark: str, rows: Sequence[RegisterMark]) -> Floats | None:
    """Return (3,) by how many metres a mark's coordinates were revised, roughly; None where not only they were."""
    old = next((_texts(row) for row in last.record["register"] if row["mark"] == mark), None)
    new = next(_texts(row) for row in rows if row["mark"] == mark)
    old = {key: text for key, text in old.items() if key not in _OF_ORIGIN} if old is not None else None
    axes = [name for name in new if name not in ("mark", "holds") and not name.startswith("sigma")]
    if old is None or set(old) != set(new) or any(old[key] != new[key] for key in new if key not in axes):
        return None
    scale = DEGREE if "longitude" in axes else 1.0
    try:
        off = [float(new[axis]) - float(old[axis]) for axis in axes]
    except ValueError:  # written in another way than as a plain number
        return None
    return np.array(off) * [scale, scale, 1.0]


def _texts(row: RegisterMark) -> dict[str, str]:
    return {key: str(text) for key, text in row.items()}


def _stays(solved: Solved, mark: str) -> str:
    """Return in words that what the field applied by a mark's coordinates of before is taken out as before."""
    since = [one.used.since for one in solved.field.taken if one.used is not None and one.window.stated.mark == mark]
    issues = sorted({f"{number:03d}" for number in since if number is not None})
    return f" (the field shift derived from it is taken out as in issue {' and '.join(issues)})" if issues else ""
