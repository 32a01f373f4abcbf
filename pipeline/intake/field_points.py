"""How many points a field shift's session has between the times at which it was switched or a mark may be occupied."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.intake.field_windows import FieldWindow
from pipeline.intake.ledger import CANDIDATE, NAMED, ReadingRows


@dataclass(frozen=True)
class FieldPoints:
    """Points of one field shift's session and receiver by time; readings that may be occupations are none of them.

    Args:
        edges: (k,) UTC milliseconds, ascending: its start and end, and the readings that may be occupations.
        counts: (k + 1,) points before the first edge, from each edge to the next, and from the last on.
    """

    edges: Integers
    counts: Integers

    def between(self, since: int | None, until: int | None) -> int:
        """Return how many points lie from one edge, None for the beginning, until before another, None for the end."""
        first = 0 if since is None else int(np.searchsorted(self.edges, since)) + 1
        last = len(self.counts) if until is None else int(np.searchsorted(self.edges, until)) + 1
        return int(self.counts[first:last].sum())


def field_points(
    rows: ReadingRows, once: Flags, windows: Sequence[FieldWindow], bases: Sequence[str | None]
) -> tuple[FieldPoints, ...]:
    """Return the points of each field shift's session and receiver.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        windows: the field shifts.
        bases: the base ids by the numbers that ``rows`` has of them.
    """
    return tuple(_of(rows, once, window, bases) for window in windows)


def _of(rows: ReadingRows, once: Flags, window: FieldWindow, bases: Sequence[str | None]) -> FieldPoints:
    mine = once & (rows.session == window.session)
    if window.exports is not None:
        mine &= np.repeat(np.isin(np.arange(len(rows.starts)), window.exports), rows.counts())
    of_base = np.array([window.base is None or (key or window.own_base) == window.base for key in bases], bool)
    occupied = (rows.flags & (CANDIDATE | NAMED)) != 0
    (on_marks,) = rows.columns.take(np.flatnonzero(mine & occupied), "time")
    edges = np.unique(np.append(on_marks.astype(np.int64), [window.start, window.until]))
    counts = np.zeros(len(edges) + 1, np.int64)
    points = mine & ~occupied
    for at, (time, base) in rows.columns.pieces("time", "base"):
        here = points[at]
        if here.any():
            places = np.searchsorted(edges, time[here & of_base[base]], side="right")
            counts += np.bincount(places, minlength=len(counts))
    return FieldPoints(edges, counts)
