"""Columns of every reading, laid down as they come and read again in pieces, so that memory does not grow with them.

The first rows are held; the others lie in a nameless file, which is gone with the process whatever becomes of that, or
are held too where the disk has no room. The file is read rather than mapped: mapped pages count as a run's memory.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Integers
from pipeline.nameless import NamelessFile

#: Rows that are held before any is laid down: most jobs have no more.
HELD = 1 << 17


class _Laid(Struct, frozen=True):
    """Where in the file the values of a piece are."""

    place: int
    kind: np.dtype[Any]
    rows: int


class DiskColumns:
    """Columns of these ``kinds`` by name, (n,) each, in the pieces in which they were added."""

    def __init__(self, kinds: Mapping[str, type[Any]], held: int = HELD) -> None:
        self._kinds = {name: np.dtype(kind) for name, kind in kinds.items()}
        self._held = held
        self._pieces: list[dict[str, NDArray[Any] | _Laid]] = []
        self._starts = [0]
        self._file = NamelessFile()

    def __len__(self) -> int:
        return self._starts[-1]

    def add(self, columns: Mapping[str, NDArray[Any]]) -> None:
        """Take the next rows, (k,) of each column; no array is held that was given."""
        own = {name: columns[name].astype(kind) for name, kind in self._kinds.items()}
        rows = len(next(iter(own.values())))
        keep = len(self) + rows <= self._held
        self._pieces.append({**own} if keep else self._laid_down(own))
        self._starts.append(len(self) + rows)

    def pieces(self, *names: str) -> Iterator[tuple[slice, list[NDArray[Any]]]]:
        """Yield some columns (k,) piece by piece, each with the place of its rows among all."""
        for piece, start, stop in zip(self._pieces, self._starts, self._starts[1:], strict=False):
            yield slice(start, stop), [self._read(piece[name]) for name in names]

    def take(self, numbers: Integers, *names: str) -> list[NDArray[Any]]:
        """Return of some columns the rows (k,) of these numbers, which ascend."""
        found = [np.empty(len(numbers), self._kinds[name]) for name in names]
        ends = np.searchsorted(numbers, self._starts).tolist()
        for piece, start, first, last in zip(self._pieces, self._starts, ends, ends[1:], strict=False):
            if first < last:
                here = numbers[first:last] - start
                for column, name in zip(found, names, strict=True):
                    column[first:last] = self._read(piece[name])[here]
        return found

    def _laid_down(self, own: dict[str, NDArray[Any]]) -> dict[str, NDArray[Any] | _Laid]:
        """Write a piece behind the others; return where it is, or itself if the disk has no room for it."""
        place = self._file.lay(*(values.view(np.uint8) for values in own.values()))
        if place is None:
            return {**own}
        laid: dict[str, NDArray[Any] | _Laid] = {}
        for name, values in own.items():
            laid[name] = _Laid(place, values.dtype, len(values))
            place += values.nbytes
        return laid

    def _read(self, values: NDArray[Any] | _Laid) -> NDArray[Any]:
        if not isinstance(values, _Laid):
            return values
        found = self._file.read(values.place, values.rows * values.kind.itemsize)
        return np.frombuffer(found, values.kind, values.rows)


class DiskColumn(Struct, frozen=True):
    """One of the columns, to be gone through piece by piece as often as needed."""

    columns: DiskColumns
    name: str

    def __iter__(self) -> Iterator[NDArray[Any]]:
        return (values for _, (values,) in self.columns.pieces(self.name))
