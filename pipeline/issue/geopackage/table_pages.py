"""The pages of an SQLite table written behind the others of its file: its rows in leaves, and the tree above them.

Source: SQLite's "Database File Format" (https://www.sqlite.org/fileformat2.html), clauses 1.3 "The Database Header" and
1.6 "B-tree Pages". Numbers of several bytes have the highest first.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from io import SEEK_END, FileIO
from itertools import pairwise
from pathlib import Path
from struct import pack

import numpy as np
import pyarrow as pa

from pipeline.arrays import Integers
from pipeline.issue.geopackage.table_cells import Octets, cells, child_cells
from pipeline.tables import bytes_of

_LEAF, _INTERIOR = 13, 5
_LEAF_HEAD, _INTERIOR_HEAD = 8, 12
#: Bytes by which the longest record that a page holds by itself is shorter than the page.
_BESIDE = 35
#: The page that has this byte is never used: programs lock it.
_LOCKED = 1 << 30
#: Where the file's header has the size of a page, what of each is reserved, a count of changes, that of the pages, and
#: the count of changes for which that holds.
_SIZE, _RESERVED, _CHANGES, _COUNT, _COUNTED_AT = 16, 20, 24, 28, 92
_HEADER = 100
#: Rows that are put together at a time.
_PIECE = 1 << 16


@contextmanager
def table_pages(path: Path, root: int) -> Iterator["TablePages"]:
    """Yield a table of a database to fill, which has no rows yet; on leaving without a failure it is complete.

    Raises OSError where the disk refuses; what there is of the file is worth nothing then.

    Args:
        path: the database, which nobody else has open.
        root: the number of the page that the table begins at.
    """
    with path.open("r+b", buffering=0) as file:
        filled = TablePages(file, root)
        yield filled
        filled.finish()


class TablePages:
    """A table while its pages are written."""

    def __init__(self, file: FileIO, root: int) -> None:
        head = file.read(_HEADER)
        size = int.from_bytes(head[_SIZE : _SIZE + 2], "big")
        self._size = 1 << 16 if size == 1 else size
        self._usable = self._size - head[_RESERVED]
        self._changes = int.from_bytes(head[_CHANGES : _CHANGES + 4], "big")
        self._file, self._root = file, root
        self._next = file.seek(0, SEEK_END) // self._size + 1
        self._left = pa.array([], pa.binary())  # cells that do not fill a page yet, and the numbers of their rows
        self._left_rows = np.zeros(0, np.int64)
        self._leaves, self._last_rows = list[Integers](), list[Integers]()

    def take(self, rows: pa.RecordBatch) -> int:
        """Write the next rows, their numbers ascending, in columns of which `table_cells.can_be_cells` is true.

        Returns how many of them: not those from a piece on that has one too long for a page.
        """
        for start in range(0, rows.num_rows, _PIECE):
            piece = rows.slice(start, _PIECE)
            if (new := cells(piece, self._usable - _BESIDE)) is None:
                return start
            self._add(new, np.asarray(piece.column(0)))
        return int(rows.num_rows)

    def _add(self, new: pa.Array, numbers: Integers) -> None:
        """Write the pages that cells fill."""
        self._left = pa.concat_arrays([self._left, new])
        self._left_rows = np.concatenate([self._left_rows, numbers])
        starts = self._starts()
        self._leaves.append(self._put(self._leaf_pages(starts)))
        self._last_rows.append(self._left_rows[starts[1:] - 1])
        self._left, self._left_rows = self._left.slice(starts[-1]), self._left_rows[starts[-1] :]

    def finish(self) -> None:
        """Write the last leaf, the tree above the leaves, and into the file's header how many pages there are."""
        last = self._leaf_pages(np.array([0, len(self._left)]))
        leaves = np.concatenate([np.zeros(0, np.int64), *self._leaves])
        root: bytes = last.tobytes()
        if len(leaves):
            rows = np.concatenate([*self._last_rows, self._left_rows[-1:]])
            root = self._tree(np.append(leaves, self._put(last)), rows)
        self._write(root, (self._root - 1) * self._size)
        changes, count = ((number & 0xFFFFFFFF).to_bytes(4, "big") for number in (self._changes + 1, self._next - 1))
        self._write(changes + count, _CHANGES)
        self._write(changes, _COUNTED_AT)

    def _starts(self) -> Integers:
        """Return the first cells of the pages that are full, and of the one that is not."""
        _, offsets = bytes_of(self._left)
        used = offsets + 2 * np.arange(len(offsets))  # with each cell's place in the page
        follows = np.searchsorted(used, used + (self._usable - _LEAF_HEAD), side="right") - 1
        chain, next_ones, end = [0], follows.tolist(), len(self._left)
        while next_ones[chain[-1]] < end:
            chain.append(next_ones[chain[-1]])
        return np.array(chain)

    def _leaf_pages(self, starts: Integers) -> Octets:
        """Return the leaves (n, size) of the cells from each of ``starts`` to the next one."""
        held, offsets = bytes_of(self._left)
        pages = np.zeros((len(starts) - 1, self._size), np.uint8)
        many, first = np.diff(starts), offsets[starts]
        places = self._usable - np.diff(first)
        pages[:, 0] = _LEAF
        pages[:, 3], pages[:, 4] = many >> 8, many & 0xFF
        pages[:, 5], pages[:, 6] = places >> 8, places & 0xFF
        of = np.repeat(np.arange(len(many)), many)
        cell = np.arange(starts[0], starts[-1])
        beside = of * self._size + _LEAF_HEAD + 2 * (cell - starts[of])
        flat = pages.reshape(-1)
        place_of = places[of] + offsets[cell] - first[of]
        flat[beside], flat[beside + 1] = place_of >> 8, place_of & 0xFF
        values = np.frombuffer(held, np.uint8)
        for page, start, end, place in zip(
            pages, first[:-1].tolist(), first[1:].tolist(), places.tolist(), strict=True
        ):
            page[place : self._usable] = values[start:end]
        return pages

    def _tree(self, children: Integers, rows: Integers) -> bytes:
        """Write the pages between the root and ``children``, the last rows of which are ``rows``; return the root."""
        while True:
            pages, ends = self._interior_pages(children, rows)
            if len(pages) == 1:
                return pages[0]
            children = self._put(np.frombuffer(b"".join(pages), np.uint8).reshape(-1, self._size))
            rows = rows[ends - 1]

    def _interior_pages(self, children: Integers, rows: Integers) -> tuple[list[bytes], Integers]:
        """Return the pages above ``children``, of some equal size, and behind which child each ends."""
        held, offsets = bytes_of(child_cells(children, rows))
        most = (self._usable - _INTERIOR_HEAD) // (2 + int(np.diff(offsets).max())) + 1
        ends = np.linspace(0, len(children), -(-len(children) // most) + 1).astype(np.int64)
        pages = list[bytes]()
        for first, last in pairwise(ends):
            within = offsets[first:last]  # the last child has no cell: the page's head names it
            start = self._usable - int(within[-1] - within[0])
            head = pack(">BHHHBI", _INTERIOR, 0, len(within) - 1, start, 0, children[last - 1])
            places = (start + within[:-1] - within[0]).astype(">u2").tobytes()
            page = (head + places).ljust(start, b"\0") + held[within[0] : within[-1]]
            pages.append(page.ljust(self._size, b"\0"))
        return pages, ends[1:]

    def _put(self, pages: Octets) -> Integers:
        """Write pages at the end of the file; return their numbers."""
        numbers = self._next + np.arange(len(pages))
        locked = _LOCKED // self._size + 1
        before = max(0, locked - self._next) if self._next <= locked else len(pages)
        numbers[before:] += 1  # the file is as long as its pages are many: one is left out
        for some, first in ((pages[:before], self._next), (pages[before:], locked + 1)):
            if len(some):
                self._write(some.data, (first - 1) * self._size)
                self._next = first + len(some)
        return numbers

    def _write(self, octets: bytes | memoryview, place: int) -> None:
        self._file.seek(place)
        left = memoryview(octets).cast("B")
        while left:
            left = left[self._file.write(left) :]
