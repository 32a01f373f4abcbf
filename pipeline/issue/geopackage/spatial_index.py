"""The R-tree of a layer packed at once: sorted into tiles, node by node, as SQLite keeps it.

SQLite keeps an R-tree of two dimensions in three tables (its source, ext/rtree/rtree.c; OGC 12-128r18, annex F.3): the
nodes as blobs, the first of them the root, which bears the tree's depth; the leaf of every row; the parent of every
other node. Packing by sort and tile is that of Leutenegger, Lopez and Edgington (1997).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.arrays import Floats, Integers

#: Entries of a node, as many as SQLite puts into one.
MOST = 51

_CELL = np.dtype([("id", ">i8"), ("box", ">f4", (4,))])
_HEAD = np.dtype([("depth", ">u2"), ("cells", ">u2")])
_NODE = np.dtype([("head", _HEAD), ("cell", _CELL, (MOST,))])
_ROOT = 1

_Singles = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Tree:
    """An R-tree: its ``nodes`` (n,) of 1228 bytes, numbered from 1, the root, and who is in which.

    ``leaves`` is (rows,) the node of each row; ``parents`` (n - 1,) the node above each node but the root.
    """

    nodes: npt.NDArray[np.void]
    leaves: Integers
    parents: Integers


def packed(ids: Integers, boxes: Floats) -> Tree:
    """Pack an R-tree.

    Args:
        ids: (n,) the rows' feature ids.
        boxes: (n, 4) their least and most x, least and most y; kept in 32 bits, rounded outwards.
    """
    rounded = outwards(boxes)
    order, group = _tiles(rounded)
    entries, within = ids[order].astype(np.int64), rounded[order]
    levels = []
    while True:
        levels.append((entries, within, group))
        if len(group) == 0 or group[-1] == 0:
            break
        within = _around(within, group)
        entries = np.arange(len(within), dtype=np.int64)  # numbered within their level, until all levels are known
        group = _even(len(within))
    return _numbered(levels, order)


def outwards(boxes: Floats) -> _Singles:
    """Return boxes in 32 bits, none smaller than it was."""
    single = boxes.astype(np.float32)
    low, high = single[:, ::2], single[:, 1::2]
    single[:, ::2] = np.where(low > boxes[:, ::2], np.nextafter(low, np.float32(-np.inf)), low)
    single[:, 1::2] = np.where(high < boxes[:, 1::2], np.nextafter(high, np.float32(np.inf)), high)
    return single


def _even(count: int) -> Integers:
    """Share ``count`` entries in their order among as few nodes as hold them, evenly."""
    nodes = max(1, -(-count // MOST))
    return np.arange(count, dtype=np.int64) * nodes // max(1, count)


def _tiles(boxes: _Singles) -> tuple[Integers, Integers]:
    """Return the order of boxes in tiles of neighbours, and the number of each one's tile."""
    count = len(boxes)
    leaves = max(1, -(-count // MOST))
    slices = int(np.ceil(np.sqrt(leaves)))
    each = -(-leaves // slices)  # tiles of a slice
    by_x = np.argsort(boxes[:, 0], kind="stable")
    place = np.arange(count, dtype=np.int64)
    which = place * slices // max(1, count)
    order = by_x[np.lexsort((boxes[by_x, 2], which))]
    start = -(-which * count // slices)  # the first place of a slice
    size = -(-(which + 1) * count // slices) - start
    return order, which * each + (place - start) * each // np.maximum(1, size)


def _around(boxes: _Singles, group: Integers) -> _Singles:
    """Return the box around each group of boxes; a group's are side by side."""
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    found = np.empty((len(starts), 4), np.float32)
    for column, ufunc in enumerate((np.minimum, np.maximum, np.minimum, np.maximum)):
        found[:, column] = ufunc.reduceat(boxes[:, column], starts)
    return found


def _numbered(levels: list[tuple[Integers, _Singles, Integers]], order: Integers) -> Tree:
    """Number the nodes from the root down, and write them."""
    firsts, following = [], _ROOT
    for _, _, group in reversed(levels):
        firsts.append(following)
        following += int(group[-1]) + 1 if len(group) else 1
    firsts.reverse()
    blobs = np.zeros(following - _ROOT, _NODE)
    parents = np.zeros(following - _ROOT, np.int64)
    for level, (entries, within, group) in enumerate(levels):
        _write(blobs, firsts[level] - _ROOT, entries + (firsts[level - 1] if level else 0), within, group)
        if level:
            parents[entries + firsts[level - 1] - _ROOT] = group + firsts[level]
    blobs["head"]["depth"][0] = len(levels) - 1
    leaves = np.empty(len(order), np.int64)
    leaves[order] = levels[0][2] + firsts[0]
    return Tree(blobs.view(f"V{_NODE.itemsize}"), leaves, parents[1:])


def _write(blobs: npt.NDArray[np.void], first: int, entries: Integers, within: _Singles, group: Integers) -> None:
    if len(group) == 0:
        return
    starts = np.flatnonzero(np.diff(group, prepend=-1))
    sizes = np.diff(starts, append=len(group))
    place = np.arange(len(group)) - np.repeat(starts, sizes)
    blobs["head"]["cells"][first : first + len(sizes)] = sizes
    blobs["cell"]["id"][first + group, place] = entries
    blobs["cell"]["box"][first + group, place] = within
