"""Row spool: batches in memory up to `HELD` rows, then on disk; read again by ascending row number."""

import numpy as np
import pyarrow as pa

from pipeline.arrays import Integers
from pipeline.nameless import NamelessFile

#: Rows that are held before any is laid down: most jobs have no more.
HELD = 1 << 16


class LaidDown:
    """Rows of one schema, numbered from 0; held where the disk has no room for them."""

    def __init__(self, schema: pa.Schema, held: int = HELD) -> None:
        self._schema, self._held = schema, held
        self._pieces: list[pa.RecordBatch | int] = []
        self._starts = [0]
        self._file = NamelessFile()

    def __len__(self) -> int:
        return self._starts[-1]

    def add(self, rows: pa.RecordBatch) -> None:
        """Take the next rows."""
        held = self._held >= len(self) + rows.num_rows
        place = None if held else self._file.lay_batch(rows)
        self._pieces.append(rows if place is None else place)
        self._starts.append(len(self) + rows.num_rows)

    def take(self, numbers: Integers) -> pa.Table:
        """Return the rows (k,) of these numbers, which ascend."""
        found: list[pa.RecordBatch] = []
        ends = np.searchsorted(numbers, self._starts).tolist()
        for piece, start, first, last in zip(self._pieces, self._starts, ends, ends[1:], strict=False):
            if first < last:
                rows = self._file.batch(piece) if isinstance(piece, int) else piece
                found.append(rows.take(pa.array(numbers[first:last] - start)))
        return pa.Table.from_batches(found, self._schema)
