"""Spools the lines of one issue for comparison with another's; only sums stay in memory of those that both have."""

from collections.abc import Iterable, Iterator
from contextlib import closing

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.duplicates.exact import Hashes
from pipeline.issue.geopackage.earlier_rows import Lost, read_batches
from pipeline.issue.geopackage.layers import GEOMETRY, LINES, vertices_of
from pipeline.reissue.earlier import Last
from pipeline.reissue.laid_down import LaidDown

NAME = "lines"
_COLUMNS = ("name", "closed", "length")
_KEPT = pa.schema([LINES.field(name) for name in (*_COLUMNS, GEOMETRY)])
#: Lines whose vertices are looked at at once.
_ROWS = 16_384


class KeptLines:
    """The lines of an issue, numbered from 0 in the order of their layer, and a sum of each.

    Lines with one sum have one name, are both closed or both not, and have the same vertices in the same order.
    """

    def __init__(self) -> None:
        self.sums: list[Hashes] = []
        self._kept = LaidDown(_KEPT)

    @classmethod
    def of(cls, batches: Iterable[pa.RecordBatch]) -> "KeptLines":
        """Take the rows of a layer ``lines``."""
        kept = cls()
        for batch in batches:
            for start in range(0, batch.num_rows, _ROWS):
                kept._add(batch.slice(start, _ROWS))
        return kept

    @classmethod
    def read(cls, last: Last) -> "KeptLines":
        """Read those of an issue; none where it has no such layer. Raises `Lost`."""
        if not any(layer["name"] == NAME for file in last.record["files"] for layer in file.get("layers", [])):
            return cls()
        try:
            with closing(read_batches(last.package, NAME, _COLUMNS, shapes=True)) as batches:
                return cls.of(batches)
        except (ValueError, pa.ArrowException) as error:
            raise Lost(f"{last.package.name} has lines that cannot be read: {error}") from error

    def _add(self, rows: pa.RecordBatch) -> None:
        rows = rows.select(_KEPT.names).cast(_KEPT)
        vertices, many = vertices_of(rows.column(GEOMETRY))
        self.sums.append(sequence_sums(place_sums(vertices), many, name_sums(rows)))
        self._kept.add(rows)

    def take(self, numbers: Integers) -> pa.RecordBatch:
        """Return the rows of these numbers, (k,), which ascend."""
        found = self._kept.take(numbers).combine_chunks().to_batches()
        return found[0] if found else pa.RecordBatch.from_pylist([], _KEPT)

    def pieces(self) -> Iterator[Hashes]:
        """Yield the sums, (k,) each."""
        return iter(self.sums)


def name_sums(rows: pa.RecordBatch) -> Hashes:
    """Return (l,) sums of name and whether closed."""
    closed = np.asarray(rows.column("closed").fill_null(False)).astype(np.uint64)
    return mixed_with(text_hashes(rows.column("name")), closed)


def place_sums(vertices: Floats) -> Hashes:
    """Return (v,) sums of places, (v, 3), to the bit."""
    total = np.zeros(len(vertices), np.uint64)
    for axis in range(3):
        total = mixed_with(total, np.ascontiguousarray(vertices[:, axis]) + 0.0)  # no minus zero
    return total


def sequence_sums(of_each: NDArray[np.uint64], many: Integers, own: Hashes) -> Hashes:
    """Return (l,) sums of sequences: of what is ``own`` to each, and of its members in their order.

    Args:
        of_each: (v,) of the members, of all sequences one after another.
        many: (l,) how many each has, none or more.
        own: (l,) of each sequence.
    """
    end = np.cumsum(many)
    within = np.arange(len(of_each)) - np.repeat(end - many, many)
    total = np.zeros(len(of_each) + 1, np.uint64)
    np.cumsum(mixed_with(of_each, within), out=total[1:])
    return mixed_with(own, total[end] - total[end - many])
