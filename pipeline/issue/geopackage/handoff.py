"""A producer of batches that runs beside its consumer, at most a few batches ahead."""

import threading
from collections.abc import Callable, Iterable, Iterator
from queue import Empty, Queue
from types import TracebackType
from typing import Any, Self

import pyarrow as pa

#: Rows of a batch as the consumer gets it: with fewer rows a GeoPackage takes longer, more only take memory.
ROWS = 65_536

_AHEAD = 2
_END = object()


class Handoff:
    """Runs an iterable of record batches in a thread of its own; iterate over this to take the rows in even batches.

    Used as a context manager around the consumer. A failure of the producer, or an interruption of the consumer while
    it waits, is raised on leaving, as itself and instead of whatever the consumer made of it: a library that drives
    this iterator through Arrow's C interface loses the exception. The producer is stopped and waited for in any case.
    """

    def __init__(
        self, batches: Iterable[pa.RecordBatch], schema: pa.Schema, seen: Callable[[pa.RecordBatch], None]
    ) -> None:
        self._batches, self._schema, self._seen = batches, schema, seen
        self._queue: Queue[Any] = Queue(_AHEAD)
        self._stop = threading.Event()
        self._failure: BaseException | None = None
        self._thread = threading.Thread(target=self._produce, name="tiedown-batches", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._drain()
        self._thread.join()
        if self._failure is not None:
            context = self._failure.__context__
            try:
                raise self._failure
            finally:
                self._failure.__context__ = context  # what led to it, not the consumer's complaint that followed

    def __iter__(self) -> Iterator[pa.RecordBatch]:
        try:
            while (batch := self._queue.get()) is not _END:
                yield batch
        except BaseException as interruption:  # Ctrl-C while waiting: Arrow would turn it into an error of its own
            if not isinstance(interruption, GeneratorExit):
                self._failure = self._failure or interruption
            raise
        if self._failure is not None:
            raise self._failure

    def _produce(self) -> None:
        try:
            self._feed()
        except BaseException as failure:  # carried across to the consumer's thread
            self._failure = failure
        finally:
            if not self._stop.is_set():
                self._queue.put(_END)

    def _feed(self) -> None:
        try:
            for batch in _even(checked(self._batches, self._schema), self._schema):
                self._seen(batch)
                self._queue.put(batch)
                if self._stop.is_set():
                    return
        finally:
            close = getattr(self._batches, "close", None)
            if close is not None:
                close()  # a generator's own clean-up, in the thread where it ran

    def _drain(self) -> None:
        # Once `_stop` is set the producer puts at most one more batch and one end, for which an empty queue has room.
        while True:
            try:
                self._queue.get_nowait()
            except Empty:
                return


def checked(batches: Iterable[pa.RecordBatch], schema: pa.Schema) -> Iterator[pa.RecordBatch]:
    """Yield batches as they come. Raises TypeError for one that has other columns than ``schema``."""
    for batch in batches:
        if batch.schema != schema:
            raise TypeError(f"a batch has the columns\n{batch.schema}\nand its layer has\n{schema}")
        yield batch


def _even(batches: Iterable[pa.RecordBatch], schema: pa.Schema) -> Iterator[pa.RecordBatch]:
    """Cut and join batches to `ROWS` rows each: a GeoPackage's bytes show how its rows were batched."""
    waiting: list[pa.RecordBatch] = []
    rows = 0
    for batch in batches:
        while rows + len(batch) >= ROWS:
            head = batch.slice(0, ROWS - rows)
            yield joined([*waiting, head], schema)
            batch, waiting, rows = batch.slice(len(head)), [], 0
        if len(batch):
            waiting.append(batch)
            rows += len(batch)
    if rows:
        yield joined(waiting, schema)


def joined(batches: list[pa.RecordBatch], schema: pa.Schema) -> pa.RecordBatch:
    """Return batches as one, without rows where there are none."""
    if len(batches) == 1:
        return batches[0]
    if not batches:
        return pa.RecordBatch.from_pylist([], schema)
    table = pa.Table.from_batches(batches, schema).unify_dictionaries().combine_chunks()
    return table.to_batches()[0] if table.num_rows else batches[0]
