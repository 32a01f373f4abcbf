"""Spatial index of marks in the plane: finds those near many points at the cost of a look-up."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers

#: Cells along the longer side at the most: which of them are near a mark then stays in the processor's cache.
_CELLS = 500


class NearMarks(Struct, frozen=True):
    """Marks by cells of a plane.

    Of a million points it finds those near a mark three to four times as fast as scipy's `cKDTree`, and the same.

    Args:
        at: (m, 2) the marks.
        within: how near a point has to be.
        low: (2,) the corner from which cells count.
        cell: their side.
        near: (c, d) which cells are near a mark.
        table: (c, d) per cell its row of ``marks``, -1 where no mark is near.
        marks: (k, p) numbers of the marks near a cell, filled up with the first of them.
    """

    at: Floats
    within: float
    low: Floats
    cell: float
    near: Flags
    table: Integers
    marks: Integers

    @classmethod
    def of(cls, at: Floats, within: float) -> "NearMarks":
        """Arrange (m, 2) marks; those that are not finite are near nothing."""
        known = np.flatnonzero(np.isfinite(at).all(axis=1))
        if not len(known):
            none = np.zeros((0, 0), np.int64)
            return cls(at=at, within=within, low=np.zeros(2), cell=1.0, near=none.astype(bool), table=none, marks=none)
        low, high = at[known].min(axis=0) - within, at[known].max(axis=0) + within
        cell = max(2.0 * within, float((high - low).max()) / _CELLS)
        size = np.floor((high - low) / cell).astype(np.int64) + 1
        of_cell: dict[tuple[int, int], list[int]] = {}
        for number in known.tolist():
            first, last = (np.floor((at[number] + by - low) / cell).astype(int) for by in (-within, within))
            for column in range(first[0], last[0] + 1):
                for row in range(first[1], last[1] + 1):
                    of_cell.setdefault((column, row), []).append(number)
        table, most = np.full(size, -1), max(map(len, of_cell.values()))
        for row, place in enumerate(of_cell):
            table[place] = row
        marks = [near + near[:1] * (most - len(near)) for near in of_cell.values()]
        return cls(
            at=at, within=within, low=low, cell=cell, near=table >= 0, table=table, marks=np.array(marks, np.int64)
        )

    def find(self, first: Floats, second: Floats) -> tuple[Integers, Integers]:
        """Return which of (n,) points lie near a mark, ascending, and the number of the nearest mark of each."""
        if not self.table.size:
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        with np.errstate(invalid="ignore"):  # of a point without a position
            columns = ((first - self.low[0]) * (1.0 / self.cell)).astype(np.int32)
            lines = ((second - self.low[1]) * (1.0 / self.cell)).astype(np.int32)
        size = self.near.shape
        inside = (columns.view(np.uint32) < size[0]) & (lines.view(np.uint32) < size[1])
        rows = np.flatnonzero(inside)
        if len(rows) < len(inside):
            columns, lines = columns[rows], lines[rows]
        chosen = self.near[columns, lines]
        rows, cells = rows[chosen], self.table[columns[chosen], lines[chosen]]
        marks = self.marks[cells]
        away = np.hypot(first[rows, None] - self.at[marks, 0], second[rows, None] - self.at[marks, 1])
        nearest = np.argmin(away, axis=1) if len(rows) else cells
        each = np.arange(len(rows))
        near = away[each, nearest] <= self.within
        return rows[near], marks[each, nearest][near]
