"""Rows laid down as they come, of which few are taken again: many lie in a nameless file, not in memory."""

import tempfile
from contextlib import suppress
from typing import IO

import numpy as np
import pyarrow as pa

from pipeline.arrays import Integers

#: Rows that are held before any is laid down: most jobs have no more.
HELD = 1 << 16


class LaidDown:
    """Rows of one schema, numbered from 0; held where the disk has no room for them."""

    def __init__(self, schema: pa.Schema, held: int = HELD) -> None:
        self._schema, self._held = schema, held
        self._pieces: list[pa.RecordBatch | int] = []
        self._starts = [0]
        self._file: IO[bytes] | None = None

    def __len__(self) -> int:
        return self._starts[-1]

    def add(self, rows: pa.RecordBatch) -> None:
        """Take the next rows."""
        held = self._held >= len(self) + rows.num_rows
        self._pieces.append(rows if held else self._laid(rows))
        self._starts.append(len(self) + rows.num_rows)

    def take(self, numbers: Integers) -> pa.Table:
        """Return the rows (k,) of these numbers, which ascend."""
        found: list[pa.RecordBatch] = []
        ends = np.searchsorted(numbers, self._starts).tolist()
        for piece, start, first, last in zip(self._pieces, self._starts, ends, ends[1:], strict=False):
            if first < last:
                rows = self._again(piece) if isinstance(piece, int) else piece
                found.append(rows.take(pa.array(numbers[first:last] - start)))
        return pa.Table.from_batches(found, self._schema)

    def _laid(self, rows: pa.RecordBatch) -> pa.RecordBatch | int:
        """Write rows behind the others; return where they are, or themselves if the disk has no room."""
        try:
            self._file = self._file or _nameless()
            place = self._file.seek(0, 2)
            with pa.ipc.new_stream(self._file, self._schema) as stream:
                stream.write_batch(rows)
            self._file.flush()
        except OSError:
            self._held = 1 << 62
            if self._file is not None:
                with suppress(OSError):
                    self._file.truncate(place)  # what is left of the room is not ours alone
            return rows
        return place

    def _again(self, place: int) -> pa.RecordBatch:
        assert self._file is not None
        self._file.seek(place)
        with pa.ipc.open_stream(self._file) as stream:
            return stream.read_next_batch()


def _nameless() -> IO[bytes]:
    return tempfile.TemporaryFile()
