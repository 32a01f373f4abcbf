"""How many points a field shift's session has between the times at which it was switched or a mark may be occupied."""

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.field_windows import FieldWindow
from pipeline.intake.ledger import CANDIDATE, NAMED, ReadingRows

#: Points of a stretch from which on there is a usual rise from one to the next, and how many of them lie on either side
#: of one that stands out. Ours, no source.
_ENOUGH, _EACH_SIDE = 8, 2
#: It is so many times as high as any other, and no less than these metres; the way there is so many times the usual one
#: at the most. Ours, no source.
_TIMES, _HIGH, _WAYS = 5.0, 0.25, 2.0


class Rise(Struct, frozen=True):
    """The one rise among the points of a stretch that stands out of all others, as their export has them.

    Args:
        since: UTC milliseconds of the last point before it.
        until: of the first point behind it.
        metres: how high it is, with sign.
        others: the highest of all others, metres.
        before: points of the stretch before it.
        after: points behind it.
    """

    since: int
    until: int
    metres: float
    others: float
    before: int
    after: int


class FieldPoints(Struct, frozen=True):
    """Points of one field shift's session and receiver by time; readings that may be occupations are none of them.

    Args:
        edges: (k,) UTC milliseconds, ascending: its start and end, and the readings that may be occupations.
        counts: (k + 1,) points before the first edge, from each edge to the next, and from the last on.
        rises: rises that stand out in the stretches before and behind the edges at which it was switched, by the number
            of the stretch among ``counts``.
    """

    edges: Integers
    counts: Integers
    rises: Mapping[int, Rise]

    def between(self, since: int | None, until: int | None) -> int:
        """Return how many points lie from one edge, None for the beginning, until before another, None for the end."""
        first = 0 if since is None else int(np.searchsorted(self.edges, since)) + 1
        last = len(self.counts) if until is None else int(np.searchsorted(self.edges, until)) + 1
        return int(self.counts[first:last].sum())

    def rises_beside(self, switch: int) -> Iterator[tuple[Rise, bool]]:
        """Yield the rises that stand out in the stretches next to an edge, and whether they lie behind it."""
        place = int(np.searchsorted(self.edges, switch))
        for stretch in (place, place + 1):
            if stretch in self.rises:
                yield self.rises[stretch], stretch > place


def field_points(rows: ReadingRows, once: Flags, windows: Sequence[FieldWindow]) -> tuple[FieldPoints, ...]:
    """Return the points of each field shift's session and receiver.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        windows: the field shifts.
    """
    return tuple(_of(rows, once, window) for window in windows)


def _of(rows: ReadingRows, once: Flags, window: FieldWindow) -> FieldPoints:
    mine = once & (rows.session == window.session)
    if window.exports is not None:
        mine &= np.repeat(np.isin(np.arange(len(rows.starts)), window.exports), rows.counts())
    of_base = np.array([window.base is None or (key or window.own_base) == window.base for key in rows.bases], bool)
    occupied = (rows.flags & (CANDIDATE | NAMED)) != 0
    (on_marks,) = rows.columns.take(np.flatnonzero(mine & occupied), "time")
    edges = np.unique(np.append(on_marks.astype(np.int64), [window.start, window.until]))
    counts = np.zeros(len(edges) + 1, np.int64)
    switches = np.searchsorted(edges, [window.start, window.until])
    beside = np.isin(np.arange(len(counts)), [*switches, *(switches + 1)])
    kept: list[tuple[Integers, Integers, Floats]] = []
    points = mine & ~occupied
    for at, (time, base, *place) in rows.columns.pieces("time", "base", "longitude", "latitude", "height"):
        if points[at].any():
            here = points[at] & of_base[base]
            stretch = np.searchsorted(edges, time[here], side="right")
            counts += np.bincount(stretch, minlength=len(counts))
            near = beside[stretch]
            kept.append((stretch[near], time[here][near], np.column_stack([values[here][near] for values in place])))
    return FieldPoints(edges, counts, _rises(kept))


def _rises(kept: Sequence[tuple[Integers, Integers, Floats]]) -> dict[int, Rise]:
    """Return the rises that stand out, by stretch; of points their stretch, time and (k, 3) place are given."""
    if not kept:
        return {}
    stretch, time, place = (np.concatenate(each) for each in zip(*kept, strict=True))
    order = np.lexsort((time, stretch))
    found = {}
    for number in np.unique(stretch).tolist():
        here = order[stretch[order] == number]
        if len(here) >= _ENOUGH and (rise := _rise(time[here], place[here].astype(np.float64))) is not None:
            found[number] = rise
    return found


def _rise(time: Integers, place: Floats) -> Rise | None:
    """Return the rise that stands out among points in order of time, (k, 3) longitude, latitude and height."""
    rises = np.diff(place[:, 2])
    sizes = np.abs(rises)
    at = int(np.argmax(sizes))
    others = float(np.delete(sizes, at).max())
    ways = np.diff(place[:, :2], axis=0) * [math.cos(math.radians(float(np.median(place[:, 1])))), 1.0]
    way = np.hypot(*ways.T)
    stands_out = sizes[at] >= max(_TIMES * others, _HIGH) and way[at] <= _WAYS * float(np.quantile(way, 0.9))
    before, after = at + 1, len(rises) - at
    if not stands_out or min(before, after) < _EACH_SIDE:
        return None
    return Rise(int(time[at]), int(time[at + 1]), float(rises[at]), others, before, after)
