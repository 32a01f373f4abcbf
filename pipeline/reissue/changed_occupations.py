"""Says which ties and checks have other numbers in an export that changed: a tie moves all of its session."""

from collections.abc import Collection, Iterator
from typing import NamedTuple

import numpy as np

from pipeline.arrays import Floats
from pipeline.clock import milliseconds_of
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.near import and_more
from pipeline.reissue.as_exported import SAME, as_exported, stood_of
from pipeline.reissue.occupied import ALIKE
from pipeline.words import Role

#: Occupations that are named of one export.
_LISTED = 3


class ChangedOccupation(NamedTuple):
    """An occupation with other numbers: its export and session by name, whether it is a tie, and in words how."""

    file: str
    session: str
    tie: bool
    words: str


def changed_occupations(last: Record, survey: Survey, files: Collection[str]) -> dict[str, list[ChangedOccupation]]:
    """Return by export, among ``files``, the occupations of the last issue with other numbers now, ties first.

    Numbers are those of the mark, below the antenna. What cannot be compared, as on another grid, is not told.
    """
    exports = {number for number, export in enumerate(survey.exports) if export.shown in files}
    found = dict[str, list[ChangedOccupation]]()
    for one in sorted(_changed(last, survey, exports) if exports else (), key=lambda one: not one.tie):
        found.setdefault(one.file, []).append(one)
    return found


def told_of(changed: Collection[ChangedOccupation]) -> str:
    """Return in words what changed of the occupations of one export."""
    words = [one.words for one in changed]
    return "; ".join(words[:_LISTED]) + and_more(len(words) - _LISTED)


def _changed(last: Record, survey: Survey, exports: Collection[int]) -> Iterator[ChangedOccupation]:
    candidates = survey.candidates
    of = np.asarray(candidates.table.column("export"), np.int64)
    for row in last["checks"]:
        if row["role"] not in (Role.TIE, Role.CHECK) or row["observed"] is None:
            continue
        timely = np.flatnonzero(np.abs(candidates.time - milliseconds_of(row["observed"])) <= ALIKE).tolist()
        rows = [at for at in timely if candidates.names[at] == row["point"] and of[at] in exports]
        was = as_exported(last, stood_of(row), survey) if rows else np.zeros((0, 3))
        if not len(was):
            continue
        apart = np.linalg.norm(candidates.raw[rows][:, None] - was[None], axis=2)
        if not np.isfinite(apart).all() or apart.min() <= SAME:
            continue
        now, then = np.unravel_index(apart.argmin(), apart.shape)
        east, north, up = _moved(was[then], candidates.raw[rows[int(now)]], survey).tolist()
        yield ChangedOccupation(
            survey.exports[int(of[rows[int(now)]])].shown,
            survey.windows[int(candidates.session[rows[int(now)]])].session.name,
            row["role"] == Role.TIE,
            f"the {row['role']} {row['point']} on {row['mark']} has other numbers"
            f" (east {east:+.3f}, north {north:+.3f}, up {up:+.3f} m)",
        )


def _moved(was: Floats, now: Floats, survey: Survey) -> Floats:
    """Return (3,) how far a position of the working frame lies from another, metres to the grid's east, north, up."""
    metres = np.column_stack(survey.operations.frames.to_issued.forward(*np.stack([was, now]).T))
    return np.asarray(np.round(metres[1] - metres[0], 3) + 0.0)  # and no -0.000
