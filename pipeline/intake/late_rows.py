"""Finds a few rows at the end of an export that lie in a session of another day, which other exports have.

A point that is edited on the controller next morning may get the time of the edit, and with it the shift of a base that
had nothing to do with it. By its time alone it is like a point that was measured then: what is said is a question.
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.clock import between
from pipeline.intake.ledger import CANDIDATE, NAMED, ReadingRows
from pipeline.intake.prepare import Prepared
from pipeline.words import counted, plural

#: Rows that are few: so many, of an export this share.
_FEW, _SHARE = 20, 0.1
#: The share of their session's rows that other exports have, which have no row in the sessions of the rest.
_THEIRS = 0.8


def late_notes(rows: ReadingRows, once: Flags, prepared: Prepared) -> Iterator[str]:
    """Yield a sentence per export with such rows.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        prepared: the job.
    """
    if len(prepared.exports) < 2 or len(prepared.windows) < 2:
        return
    ends = np.append(rows.starts, len(rows))
    sessions = [rows.session[start:end][once[start:end]] for start, end in pairwise(ends.tolist())]
    # (exports, sessions) rows of each
    many = np.array([np.bincount(one[one >= 0], minlength=len(prepared.windows)) for one in sessions])
    for number, of_session in enumerate(many):
        few = _few(number, of_session, many, prepared)
        if few is None:
            continue
        start, end = int(ends[number]), int(ends[number + 1])
        which = start + np.flatnonzero(once[start:end] & (rows.session[start:end] == few))
        if not (rows.flags[which] & (CANDIDATE | NAMED)).any():
            yield _told(which, few, rows, prepared, number)


def _few(number: int, of_session: Integers, many: Integers, prepared: Prepared) -> int | None:
    """Return the session of an export's last few rows that begins after the others that it has rows in, else None."""
    used = np.flatnonzero(of_session)
    if len(used) < 2:
        return None
    last = max(used.tolist(), key=lambda index: prepared.windows[index].start_ms)
    rest = [index for index in used.tolist() if index != last]
    few, window = int(of_session[last]), prepared.windows[last]
    if few > min(_FEW, _SHARE * int(of_session.sum())):
        return None
    if any(prepared.windows[index].end_ms > window.start_ms for index in rest):
        return None
    block = prepared.exports[number].block
    others = [
        index
        for index, export in enumerate(prepared.exports)
        if index != number and export.block == block and not many[index, rest].any()
    ]
    return last if int(many[others, last].sum()) >= _THEIRS * int(many[:, last].sum()) else None


def _told(which: Integers, session: int, rows: ReadingRows, prepared: Prepared, number: int) -> str:
    (time,) = rows.columns.take(which, "time")
    lines, count = rows.source_row(which), len(which)
    name = prepared.windows[session].session.name
    were, they = plural(count, "was", "were"), plural(count, "it", "they")
    return (
        f"{prepared.exports[number].shown}:{int(lines.min())}: {counted(count, 'row')} of this file (to row"
        f" {int(lines.max())}) {plural(count, 'is', 'are')} dated {between(int(time.min()), int(time.max()))}, in"
        f" session {name}, after all its other rows; nearly all rows of that session are in other files, and"
        f" {they} {were} observed on no mark. {plural(count, 'Was', 'Were')} {they} observed at that time, or edited"
        f" then? If edited, {they} {plural(count, 'has', 'have')} the shift of a wrong session: correct the time in the"
        " export"
    )
