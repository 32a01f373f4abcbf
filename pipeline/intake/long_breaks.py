"""Finds the long breaks, such as a night, in which a session has no reading, and how many points lie on either side."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.intake.ledger import CANDIDATE, NAMED, ReadingRows
from pipeline.sessions.windows import SessionWindow

#: Milliseconds without a reading that make a long break: a crew that is away for so long went home. Ours, no source.
_LONG = 6 * 3_600_000
#: Milliseconds that are looked at as one, so that memory goes by the length of a session, not by its readings.
_MINUTE = 60_000


class LongBreak(Struct, frozen=True):
    """A break in the readings of a session.

    Args:
        session: its index.
        since: UTC milliseconds of the last reading before it.
        until: of the first reading after it.
        before: points of the session before it; readings that may stand on marks are none.
        after: points after it.
    """

    session: int
    since: int
    until: int
    before: int
    after: int


def long_breaks(rows: ReadingRows, once: Flags, windows: Sequence[SessionWindow]) -> tuple[LongBreak, ...]:
    """Return the breaks of six hours and more within sessions, by session and time.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        windows: the sessions.
    """
    long = [number for number, window in enumerate(windows) if window.end_ms - window.start_ms >= _LONG]
    if not long:
        return ()
    firsts: dict[int, list[Integers]] = {number: [] for number in long}
    lasts: dict[int, list[Integers]] = {number: [] for number in long}
    for at, times, _ in rows.times():
        for number in long:
            mine = np.sort(times[once[at] & (rows.session[at] == number)])
            if len(mine):
                starts = np.flatnonzero(np.diff(mine // _MINUTE, prepend=mine[0] // _MINUTE - 1))
                firsts[number].append(mine[starts])
                lasts[number].append(mine[np.append(starts[1:], len(mine)) - 1])
    breaks = [
        (number, since, until)
        for number in long
        if firsts[number]
        for since, until in _breaks(np.concatenate(firsts[number]), np.concatenate(lasts[number]))
    ]
    if not breaks:
        return ()
    before, after = np.zeros(len(breaks), np.int64), np.zeros(len(breaks), np.int64)
    points = once & ((rows.flags & (CANDIDATE | NAMED)) == 0)
    for at, times, _ in rows.times():
        for place, (number, since, until) in enumerate(breaks):
            mine = times[points[at] & (rows.session[at] == number)]
            before[place] += np.count_nonzero(mine <= since)
            after[place] += np.count_nonzero(mine >= until)
    counts = zip(before.tolist(), after.tolist(), strict=True)
    return tuple(LongBreak(*one, *count) for one, count in zip(breaks, counts, strict=True))


def _breaks(first: Integers, last: Integers) -> list[tuple[int, int]]:
    """Return end and begin of runs of readings, each (n,) with its first and last time, that are far apart."""
    order = np.argsort(first, kind="stable")
    first, last = first[order], np.maximum.accumulate(last[order])
    far = np.flatnonzero(first[1:] - last[:-1] >= _LONG)
    return list(zip(last[far].tolist(), first[far + 1].tolist(), strict=True))
