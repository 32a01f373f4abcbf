"""Finds rows of an export that have one time though nobody was at all of their places at once: it proves none of them.

A spreadsheet copies a cell down its column as easily in that of the times, and what is proven goes by the times alone.
Exports whose rows have the time of their feature, of an edit or of a batch are made so throughout, and so are times to
the minute: of these nothing is found.
"""

from collections import defaultdict

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import MINUTE
from pipeline.intake.ledger import ReadingRows
from pipeline.sphere import apart

#: Rows in a row with one time: so many are told, and so many are a feature's, or of rows exported together.
_LEAST, _FEATURE = 5, 3
#: Times that several rows have each, from which on an export is made so.
_MADE_SO = 3
#: Runs that are looked at in one piece of an export.
_MOST = 100
#: Metres: farther apart than a rover gets within a second. Ours, no source.
_APART = 30.0
#: Times that the other rows have at the least, and minutes of which a time that is one was read off no clock.
_OTHERS, _QUARTER = 3, 15


class CopiedTime(Struct, frozen=True):
    """Rows of one export, from number ``first`` of the job to ``last``, with one ``time``, UTC milliseconds.

    ``rows`` are the first's and the last's in the file, ``count`` how many rows, ``reach`` the metres that they lie
    apart; ``since`` and ``until`` the earliest and the latest of their time and those of the rows before and behind.
    """

    export: int
    first: int
    last: int
    rows: tuple[int, int]
    count: int
    time: int
    reach: float
    since: int
    until: int


def copied_times(rows: ReadingRows, counting: Flags) -> tuple[CopiedTime, ...]:
    """Return such rows, of the readings that are ``counting`` (n,)."""
    runs, shared = defaultdict[int, list[tuple[Integers, Integers]]](list), defaultdict[int, set[int]](set)
    for at, time, _ in rows.times():
        again = time[1:] == time[:-1]
        if np.count_nonzero(again) < _FEATURE - 1:
            continue
        which = np.flatnonzero(counting[at])
        time = time[which]
        turns = np.flatnonzero(np.diff(np.concatenate([[False], time[1:] == time[:-1], [False]]).astype(np.int8)))
        edges = turns.reshape(-1, 2)
        edges = edges[edges[:, 1] - edges[:, 0] >= _FEATURE - 1]
        if not len(edges):
            continue
        export = int(rows.export(np.array([at.start]))[0])
        shared[export].update(np.unique(time[edges[:, 0]])[:_MADE_SO].tolist())
        if len(shared[export]) >= _MADE_SO:
            continue
        for start, stop in edges[edges[:, 1] - edges[:, 0] >= _LEAST - 1][:_MOST].tolist():
            near = time[max(start - 1, 0) : stop + 2]
            runs[export].append((which[start : stop + 1] + at.start, near))
    few = [
        export for export in runs if len(shared[export]) < _MADE_SO and _to_the_second(rows, counting, export, shared)
    ]
    found = (_found(rows, export, numbers, near) for export in few for numbers, near in runs[export])
    return tuple(one for one in found if one.reach > _APART and one.time % (_QUARTER * MINUTE))


def _to_the_second(rows: ReadingRows, counting: Flags, export: int, shared: dict[int, set[int]]) -> bool:
    """Tell whether an export has other times besides those ``shared``, and seconds that differ."""
    first, after = rows.starts[export], [*rows.starts, len(rows)][export + 1]
    here = np.concatenate(
        [time[counting[at]] for at, time, _ in rows.times() if first <= at.start < after] or [np.zeros(0, np.int64)]
    )
    own = np.unique(here)
    return len(own) - len(shared[export]) >= _OTHERS and len(np.unique(own % MINUTE)) > 1


def _found(rows: ReadingRows, export: int, numbers: Integers, near: Integers) -> CopiedTime:
    time, longitude, latitude = rows.columns.take(numbers, "time", "longitude", "latitude")
    ends = (longitude.min(), latitude.min(), longitude.max(), latitude.max())
    first, last = rows.source_row(numbers[[0, -1]]).tolist()
    return CopiedTime(
        export=export,
        first=int(numbers[0]),
        last=int(numbers[-1]),
        rows=(first, last),
        count=len(numbers),
        time=int(time[0]),
        reach=float(apart(*(np.array([end]) for end in ends))[0]),
        since=int(near.min()),
        until=int(near.max()),
    )
