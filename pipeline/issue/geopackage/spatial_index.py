"""The R-tree of a layer packed at once: sorted into tiles, node by node, as SQLite keeps it.

SQLite keeps an R-tree of two dimensions in three tables (its source, ext/rtree/rtree.c; OGC 12-128r18, annex F.3): the
nodes as blobs, the first of them the root, which bears the tree's depth; the leaf of every row; the parent of every
other node. Packing by sort and tile is that of Leutenegger, Lopez and Edgington (1997).

Of every point 17 bytes are held: its box, its place in the order, its leaf. The nodes are given out as they are made.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.arrays import Floats, Integers

#: Entries of a node, as many as SQLite puts into one.
MOST = 51

_CELL = np.dtype([("id", ">i8"), ("box", ">f4", (4,))])
_HEAD = np.dtype([("depth", ">u2"), ("cells", ">u2")])
_NODE = np.dtype([("head", _HEAD), ("cell", _CELL, (MOST,))])
_ROOT = 1
#: Rows that are given a place in the order at a time.
_PIECE = 1 << 17
_LOW_HALF = np.uint64(0xFFFFFFFF)
#: Which bit says that the most x, and the most y, is the number next to the least.
_BITS = np.array([1, 2], np.uint8)

_Singles = npt.NDArray[np.float32]
_Nodes = npt.NDArray[Any]


class Boxes:
    """The extents of a layer's rows in their order: least and most x, least and most y; NaN where none.

    Kept in 32 bits, rounded outwards. Of a point the most is the least or the number next to it, of which a bit says
    which, so that nine bytes are kept of it; of anything else sixteen.
    """

    def __init__(self) -> None:
        self.rows = 0
        self._least = np.empty((0, 2), np.float32)
        self._above = np.empty((0, 1), np.uint8)
        self._most: _Singles | None = None

    def add(self, boxes: Floats) -> None:
        """Take in the next rows, (n, 4)."""
        if not len(boxes):
            return
        single = outwards(boxes)
        least, most = single[:, ::2], single[:, 1::2]
        above = (least < most) & (most == np.nextafter(least, np.float32(np.inf)))
        if self._most is None and (above | ~(least < most)).all():
            self._above = _longer(self._above, (above @ _BITS)[:, None])
        else:
            so_far = self.of(slice(None))[:, 1::2].copy() if self._most is None else self._most
            self._most = _longer(so_far, most)
        self._least = _longer(self._least, least)
        self.rows += len(boxes)

    def of(self, rows: Any) -> _Singles:
        """Return the boxes (k, 4) of some rows."""
        least = self._least[rows]
        found = np.empty((len(least), 4), np.float32)
        found[:, ::2] = least
        if self._most is not None:
            found[:, 1::2] = self._most[rows]
        else:
            above = (self._above[rows] & _BITS) != 0
            found[:, 1::2] = np.where(above, np.nextafter(least, np.float32(np.inf)), least)
        return found

    def least(self, rows: Any, axis: int) -> _Singles:
        """Return the least x (axis 0) or y of some rows."""
        found: _Singles = self._least[rows, axis]
        return found


class Packing:
    """An R-tree in the making; rows are known by their feature ids, which count from 1, and nodes by theirs.

    Take `nodes` to their end; after that ``leaves`` (n,) are the node of each row, 0 where it has no box, and
    ``parents`` the node above each node but the root, from the second on.
    """

    def __init__(self, boxes: Boxes) -> None:
        self._boxes = boxes
        self.leaves = np.zeros(0, np.uint32)
        self._sound = boxes.rows - int(np.count_nonzero(np.isnan(boxes.least(slice(None), 0))))
        tiles = max(1, -(-self._sound // MOST))
        self._slices = int(np.ceil(np.sqrt(tiles)))
        self._each = -(-tiles // self._slices)  # tiles of a slice
        self._counts = [self._slices * self._each]  # of the nodes of each level, leaves first
        while self._counts[-1] > 1:
            self._counts.append(-(-self._counts[-1] // MOST))
        #: The number of each level's first node: they are counted from the root down.
        self._firsts = [_ROOT + sum(self._counts[level + 1 :]) for level in range(len(self._counts))]
        self.parents = np.zeros(sum(self._counts) - 1, np.int64)

    def nodes(self) -> Iterator[tuple[Integers, _Nodes]]:
        """Yield nodes, (k,) numbers and their blobs: the leaves in pieces, then level by level up to the root."""
        around = np.empty((self._counts[0], 4), np.float32)
        yield from self._leaves(around)
        for level, count in enumerate(self._counts[1:], 1):
            below, first = len(around), self._firsts[level - 1]
            group = np.arange(below) * count // below
            self.parents[first - 2 : first - 2 + below] = group + self._firsts[level]
            blobs = _filled(np.arange(first, first + below), around, group, count)
            if self._firsts[level] == _ROOT:
                blobs["head"]["depth"] = level
            around = _around(around, group)
            yield self._firsts[level] + np.arange(count), blobs

    def _leaves(self, around: _Singles) -> Iterator[tuple[Integers, _Nodes]]:
        by_x = self._by_x()
        for number in range(self._slices):
            first, last = (-(-place * self._sound // self._slices) for place in (number, number + 1))
            rows = by_x[first:last].astype(np.uint64)
            rows = _in_order(self._boxes.least(rows, 1), rows)
            group = np.arange(len(rows)) * self._each // max(1, len(rows))
            of_slice = slice(number * self._each, (number + 1) * self._each)
            numbers = self._firsts[0] + np.arange(of_slice.start, of_slice.stop)
            within = self._boxes.of(rows)
            if len(rows):
                around[of_slice] = _around(within, group)
            self.leaves[rows] = numbers[group]
            yield numbers, _filled(rows.astype(np.int64) + 1, within, group, self._each)

    def _by_x(self) -> npt.NDArray[np.uint32]:
        """Return the rows that have a box, in the order of their least x; these, and the leaves, lie where keys lay."""
        every, at = np.empty(self._boxes.rows, np.uint64), 0
        for start in range(0, self._boxes.rows, _PIECE):
            least = self._boxes.least(slice(start, start + _PIECE), 0)
            there = np.flatnonzero(~np.isnan(least))
            every[at : at + len(there)] = _keys(least[there], (there + start).astype(np.uint64))
            at += len(there)
        keys = every[:at]
        keys.sort()
        rows, self.leaves = np.split(every.view(np.uint32), 2)
        for start in range(0, len(keys), _PIECE):
            piece = keys[start : start + _PIECE] & _LOW_HALF
            rows[start : start + len(piece)] = piece
        self.leaves[:] = 0
        return rows[: len(keys)]


def _longer(kept: npt.NDArray[Any], more: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return rows with more behind; where it can be the memory is made longer, so that no second copy is held."""
    at = len(kept)
    kept.resize((at + len(more), *kept.shape[1:]), refcheck=False)
    kept[at:] = more
    return kept


def outwards(boxes: Floats) -> _Singles:
    """Return (n, 4) boxes, least and largest x, then y, in 32 bits, none smaller than it was."""
    single = boxes.astype(np.float32)
    low, high = single[:, ::2], single[:, 1::2]
    single[:, ::2] = np.where(low > boxes[:, ::2], np.nextafter(low, np.float32(-np.inf)), low)
    single[:, 1::2] = np.where(high < boxes[:, 1::2], np.nextafter(high, np.float32(np.inf)), high)
    return single


def _keys(values: _Singles, rows: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Return whole numbers in the order of ``values``, and of rows where these are alike, with the row below.

    No two are alike, so that any way of sorting, the quickest too, gives the one order.
    """
    bits = (values + np.float32(0.0)).view(np.uint32)  # no minus zero
    ordered = np.where(bits >> 31, ~bits, bits | np.uint32(0x80000000))
    return ordered.astype(np.uint64) << np.uint64(32) | rows


def _in_order(values: _Singles, rows: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    keys = _keys(values, rows)
    keys.sort()
    return keys & _LOW_HALF


def _around(boxes: _Singles, group: Integers) -> _Singles:
    """Return the box around each group of boxes; a group's are side by side."""
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    found = np.empty((len(starts), 4), np.float32)
    for column, ufunc in enumerate((np.minimum, np.maximum, np.minimum, np.maximum)):
        found[:, column] = ufunc.reduceat(boxes[:, column], starts)
    return found


def _filled(entries: Integers, within: _Singles, group: Integers, count: int) -> _Nodes:
    """Return ``count`` nodes with their entries; a group's are side by side."""
    blobs = np.zeros(count, _NODE)
    if len(entries):
        starts = np.flatnonzero(np.diff(group, prepend=-1))
        sizes = np.diff(starts, append=len(group))
        place = np.arange(len(group)) - np.repeat(starts, sizes)
        blobs["head"]["cells"] = sizes
        blobs["cell"]["id"][group, place] = entries
        blobs["cell"]["box"][group, place] = within
    return blobs
