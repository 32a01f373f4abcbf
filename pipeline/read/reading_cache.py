"""Caches the parsed readings of a text file for the second pass.

Those of small texts are held in memory, as far as a job has room for them. Those of a large one lie in a nameless file,
which is gone with the process whatever becomes of that. Where there is no room the text is read again: nothing hangs on
it but time.
"""

from collections.abc import Iterable, Iterator

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.nameless import NamelessFile

#: Bytes of readings that a job holds in memory.
HELD = 8 << 20


class Room(Struct):
    """How many bytes of readings a job may still hold in memory: its exports are read one after another."""

    left: int = HELD


class Kept:
    """The batches of one export in their order; ``whole`` says that they are all there.

    ``held`` are those of a small text, which are in memory.
    """

    def __init__(self, room: Room | None = None) -> None:
        self.whole = False
        self.held: tuple[pa.RecordBatch, ...] | None = None
        self._room = room or Room()
        self._file = NamelessFile()
        self._schemas: list[pa.Schema] = []
        self._places: list[tuple[int, int]] = []

    def holding(self, batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
        """Yield batches and hold them, as long as there is room."""
        held: list[pa.RecordBatch] = []
        left = self._room.left
        for batch in batches:
            left -= batch.nbytes
            if left >= 0:
                held.append(batch)
            yield batch
        if left >= 0:
            self.held, self.whole, self._room.left = tuple(held), True, left

    def passing(self, batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
        """Yield batches and lay them down; all of them, if all are taken."""
        sound = True
        for batch in batches:
            sound = sound and self._lay_down(batch)
            yield batch
        self.whole = sound

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Yield the batches again, as they were. Raises OSError."""
        if self.held is not None:
            yield from self.held
            return
        assert self.whole
        for schema, (place, rows) in zip(self._schemas, self._places, strict=True):
            yield _widened(self._file.batch(place), schema, rows)

    def _lay_down(self, batch: pa.RecordBatch) -> bool:
        narrow = batch.select([name for name in batch.schema.names if not _empty(batch.column(name))])
        place = self._file.lay_batch(narrow)
        if place is None:
            self._file = NamelessFile()  # what lies in the one before is of no use
            return False
        self._schemas.append(batch.schema)
        self._places.append((place, batch.num_rows))
        return True


def _empty(column: pa.Array) -> bool:
    """Say whether a column says nothing: numbers that are all NaN, else anything that is all null."""
    if pa.types.is_float64(column.type) and column.null_count == 0:
        return bool(np.isnan(column.to_numpy()).all())
    return not pa.types.is_float64(column.type) and column.null_count == len(column)


def _widened(narrow: pa.RecordBatch, schema: pa.Schema, rows: int) -> pa.RecordBatch:
    there = set(narrow.schema.names)
    columns = [narrow.column(field.name) if field.name in there else _nothing(field.type, rows) for field in schema]
    return pa.RecordBatch.from_arrays(columns, schema=schema)


def _nothing(kind: pa.DataType, rows: int) -> pa.Array:
    return pa.array(np.full(rows, np.nan)) if pa.types.is_float64(kind) else pa.nulls(rows, kind)
