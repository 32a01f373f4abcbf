"""Tells whether the reading of an occupation that failed has other numbers now, and whether it alone has.

A failing check passes where its row is written over with the numbers that its mark asks for, or has another pole
height. Such a repair may be right, but nothing in the job shows that it is.
"""

from enum import Enum, auto

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.clock import milliseconds_of
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.as_exported import SAME, as_exported, stood_of
from pipeline.reissue.occupations_before import OccupationsBefore
from pipeline.reissue.occupied import ALIKE, EarlierOccupation, key_of
from pipeline.reissue.readings_around import readings_around

#: How the sentence of a doubt goes on; `changed` says from where to where.
OTHER = (
    "has other numbers now: {changed}, while the readings observed next to it are as they were; put its row back as it"
    " was exported"
)
#: The same, where those changed as well, by millimetres.
_FAR = (
    "has other numbers now: {changed}, far more than the readings observed next to it changed; put its row back as it"
    " was exported"
)
#: The same, of one that an issue had in doubt and that cannot be compared with its own numbers any more.
_STILL = (
    "has other numbers now than it had then, while those next to it were as before; put its row back as it was exported"
)


class Alone(Enum):
    """Whether a reading changed by itself."""

    YES = auto()
    NO = auto()
    UNKNOWN = auto()


class OtherNumbers(Struct, frozen=True):
    """That a reading has other numbers than it had when it failed: in words how, and whether it alone has."""

    words: str
    alone: Alone


def other_numbers(
    failed: EarlierOccupation,
    rows: Integers,
    before: OccupationsBefore,
    survey: Survey,
    supposed: Alone | None = None,
) -> OtherNumbers | None:
    """Return how the reading of an occupation that failed differs from what it was then; None where it does not.

    None too where nobody knows what it was: in another grid, or where its session had no shift.

    Args:
        failed: the occupation.
        rows: (k,) the candidates that are its reading now.
        before: the occupations of the newest issue.
        survey: the job.
        supposed: whether it alone changed, where that is not to be looked for; None: it is.
    """
    last, own = before.record, before.again.issue(failed.issue)
    record, stood = (last, stood_of(failed.row)) if failed.row is not None else before.again.told_of(failed)
    was = as_exported(record, stood, survey) if own is not None and record is own.record else np.zeros((0, 3))
    if own is None or stood is None or not len(was):
        return OtherNumbers(_STILL, Alone.YES) if _in_doubt(failed, last) else None
    candidates = survey.candidates
    apart = np.linalg.norm(candidates.raw[rows][:, None] - was[None], axis=2)
    if not np.isfinite(apart).any() or np.nanmin(apart) <= SAME:
        return None
    at, of = np.unravel_index(np.nanargmin(apart), apart.shape)
    row, metres = int(rows[at]), float(apart[at, of])
    words = _changed(was[of], candidates.raw[row], survey)
    if supposed is not None:
        return OtherNumbers(OTHER.format(changed=words) if supposed is Alone.YES else words, supposed)
    export = int(np.asarray(candidates.table.column("export"), np.int64)[row])
    step = int(candidates.time[row]) - failed.time
    around = readings_around(own, failed.time, stood, survey, export, step if abs(step) > ALIKE else 0)
    if not around.known:
        return OtherNumbers(_STILL, Alone.YES) if _in_doubt(failed, last) else OtherNumbers(words, Alone.UNKNOWN)
    if around.stand:
        return OtherNumbers(OTHER.format(changed=words), Alone.YES)
    if around.far_exceeded_by(metres):
        return OtherNumbers(_FAR.format(changed=words), Alone.YES)
    return OtherNumbers(words, Alone.NO)


def _in_doubt(failed: EarlierOccupation, last: Record) -> bool:
    """Say whether the newest issue had a reading in doubt for its numbers: it was gone, and an occupation passed.

    Those are told as the reading at its time is another one, so that the issue has both.
    """
    gone = any(
        one is not None and one["of"] == "occupation" and one["now"] == "gone"
        and key_of(one) == failed.key
        for one in (doubt["origin"] for doubt in last["doubts"])
    )  # fmt: skip
    return gone and any(
        row["observed"] is not None and row["passed"] and row["point"] == failed.point
        and abs(milliseconds_of(row["observed"]) - failed.time) <= ALIKE
        for row in last["checks"]
    )  # fmt: skip


def _changed(was: Floats, now: Floats, survey: Survey) -> str:
    """Return in words from where to where, as exported and on the job's grid, and by how much."""
    frames = survey.operations.frames
    metres = np.column_stack(frames.to_issued.forward(*np.stack([was, now]).T))
    east, north, up = (metres[1] - metres[0]).tolist()
    before, after = np.column_stack(survey.axes.written(*metres.T)).tolist()
    places = " to ".join(f"{one[0]:.3f}, {one[1]:.3f}, {one[2]:.3f}" for one in (before, after))
    return f"as exported it went from {places} (east {east:+.3f}, north {north:+.3f}, up {up:+.3f} m)"
