"""A producer of batches that runs beside its consumer, at most a few batches ahead."""

import threading
from collections.abc import Iterable, Iterator
from queue import Empty, Queue
from typing import Any, Self

import pyarrow as pa

_AHEAD = 2
_END = object()


class Handoff:
    """Runs an iterable of record batches in a thread of its own; iterate over this to take them.

    Used as a context manager around the consumer. A failure of the producer, or an interruption of the consumer while
    it waits, is raised on leaving, as itself and instead of whatever the consumer made of it: a library that drives
    this iterator through Arrow's C interface loses the exception. The producer is stopped and waited for in any case.
    """

    def __init__(self, batches: Iterable[pa.RecordBatch]) -> None:
        self._batches = batches
        self._queue: Queue[Any] = Queue(_AHEAD)
        self._stop = threading.Event()
        self._failure: BaseException | None = None
        self._thread = threading.Thread(target=self._produce, name="tiedown-batches", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *raised: object) -> None:
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
            for batch in self._batches:
                self._queue.put(batch)
                if self._stop.is_set():
                    return
        finally:
            close(self._batches)  # a generator's own clean-up, in the thread where it ran

    def _drain(self) -> None:
        # Once `_stop` is set the producer puts at most one more batch and one end, for which an empty queue has room.
        while True:
            try:
                self._queue.get_nowait()
            except Empty:
                return


def ahead(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """Yield batches that are made in a thread of their own, at most a few of them ahead."""
    with Handoff(batches) as made:
        yield from made


def close(batches: Iterable[pa.RecordBatch]) -> None:
    """Let a generator of batches clean up behind itself, now."""
    closing = getattr(batches, "close", None)
    if closing is not None:
        closing()
