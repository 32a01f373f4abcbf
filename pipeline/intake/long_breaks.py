"""Finds the long breaks, such as a night, in which a session has no reading, and how many points lie on either side."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import HOUR, MINUTE
from pipeline.intake.ledger import CANDIDATE, NAMED, ReadingRows
from pipeline.sessions.windows import SessionWindow

#: Milliseconds without a reading that make a long break: a crew that is away for so long went home. Ours, no source.
_LONG = 6 * HOUR


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
    long = np.array([window.end_ms - window.start_ms >= _LONG for window in windows], bool)
    if not long.any() or not len(rows):
        return ()
    runs = [_runs(times, rows.session[at].astype(np.int64), once[at], long) for at, times, _ in rows.times()]
    session, first, last = (np.concatenate(each) for each in zip(*runs, strict=True))
    breaks = [
        (number, since, until)
        for number in np.unique(session).tolist()
        for since, until in _breaks(first[session == number], last[session == number])
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


def _runs(times: Integers, session: Integers, once: Flags, long: Flags) -> tuple[Integers, Integers, Integers]:
    """Return the sessions of readings within one minute, with their first and last times: memory goes by these.

    ``times``, ``session`` and ``once`` are (n,), the sessions that are ``long`` (S,); others are left out.
    """
    mine = np.flatnonzero(once)
    mine = mine[long[session[mine]]]
    times, session = times[mine], session[mine]
    order = np.lexsort((times, session))
    times, session = times[order], session[order]
    new = (np.diff(session) != 0) | (np.diff(times // MINUTE) != 0)
    starts = np.flatnonzero(np.concatenate([[len(mine) > 0], new]))
    ends = np.append(starts[1:], len(mine))[: len(starts)] - 1
    return session[starts], times[starts], times[ends]


def _breaks(first: Integers, last: Integers) -> list[tuple[int, int]]:
    """Return end and begin of runs of readings, each (n,) with its first and last time, that are far apart."""
    order = np.argsort(first, kind="stable")
    first, last = first[order], np.maximum.accumulate(last[order])
    far = np.flatnonzero(first[1:] - last[:-1] >= _LONG)
    return list(zip(last[far].tolist(), first[far + 1].tolist(), strict=True))
