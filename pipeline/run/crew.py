"""Shares tasks among worker processes that may die or hang: only the task in hand is lost.

The processes stay for many pieces. Each has a pipe to itself, so that none that dies takes another's with it, and all
of them end when the process that started them does, however it ends.
"""

import multiprocessing.process
import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing import get_context, parent_process
from multiprocessing.connection import Connection, wait
from multiprocessing.context import ForkServerContext, SpawnContext
from multiprocessing.process import BaseProcess
from threading import Thread
from typing import Any

from msgspec import Struct

from pipeline.progress import Progress
from pipeline.run.mishaps import Died, Mishap, OutOfMemory, TimedOut, is_out_of_memory

Work = Callable[[Any, Progress | None], Any]

#: Seconds that a process may take to load what it needs, which are not the piece's; longest wait at a stretch.
_LOADING, _STRETCH = 60.0, 600.0
#: Seconds after which another start is tried where what processes are forked from has ended: it is gone by then.
_ANEW = 0.2
#: Seconds that a process which was ended may take to be gone: the system may hold it in a file that does not answer.
_TO_END = 5.0
#: The signals that ask a program to end, where the system has them.
_ENDING = {getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)}


class _Worker(Struct, eq=False):
    """A process, this end of its pipe, the piece that it has in hand, and when that must have come to its end."""

    process: BaseProcess
    pipe: Connection
    piece: int | None = None
    loaded: bool = False
    deadline: float = float("inf")

    def give(self, number: int, piece: object, timeout: float | None) -> bool:
        """Hand it a piece; return False where it has died meanwhile."""
        try:
            self.pipe.send(piece)
        except OSError:
            return False
        self.piece = number
        self.begin(timeout)
        return True

    def begin(self, timeout: float | None) -> None:
        """Let the time of its piece run from now on, or from when it has loaded what it needs."""
        if timeout is not None:
            self.deadline = time.monotonic() + timeout + (0 if self.loaded else _LOADING)

    def end(self) -> int | None:
        """End it at once and return its exit code: what it wrote is whole or absent."""
        self.process.kill()
        self.process.join(_TO_END)
        if self.process.exitcode is None:  # it is left behind, and nothing waits for it at the end of the program
            vars(multiprocessing.process)["_children"].discard(self.process)
        self.pipe.close()
        return self.process.exitcode


@dataclass
class Crew:
    """Pieces of work, and the processes that do them.

    Each process calls ``prepare`` before its first piece; ``loads`` names modules that all of them will have loaded.
    """

    work: Work
    pieces: Sequence[Any]
    workers: int
    prepare: Callable[[], None]
    timeout: float | None = None
    progress: Progress | None = None
    loads: Sequence[str] = ()
    _all: list[_Worker] = field(default_factory=list, init=False)
    _waiting: deque[int] = field(default_factory=deque, init=False)
    _again: deque[int] = field(default_factory=deque, init=False)
    _begun: dict[int, int] = field(default_factory=dict, init=False)

    def results(self) -> Iterator[tuple[int, Any]]:
        """Yield the number of each piece with its result, or the `Mishap` that cost it, as each comes to its end.

        A piece whose process died or ran out of memory is begun once more, when nothing else is in hand.
        """
        self._waiting.extend(range(len(self.pieces)))
        try:
            while self._waiting or self._again or self._busy():
                yield from self._hand_out()
                busy = self._busy()
                pause = min([_STRETCH, *(worker.deadline - time.monotonic() for worker in busy)])
                told = set(wait([worker.pipe for worker in busy], max(pause, 0.0))) if busy else set()
                for worker in busy:
                    if worker.pipe in told:
                        yield from self._hear(worker)
                    elif worker.deadline <= time.monotonic():
                        yield from self._give_up(worker)
        finally:
            for worker in self._all:
                worker.end()

    def more(self, piece: object) -> None:
        """Add a piece while results are being taken: a process that has none in hand goes on with it."""
        self.pieces = [*self.pieces, piece]
        self._waiting.append(len(self.pieces) - 1)

    def _busy(self) -> list[_Worker]:
        return [worker for worker in self._all if worker.piece is not None]

    def _hand_out(self) -> Iterator[tuple[int, Mishap]]:
        """Give pieces to those that have none, starting them where there are fewer than wanted."""
        while True:
            busy = self._busy()
            if len(busy) >= self.workers:
                return
            if not self._waiting:
                if busy or not self._again:
                    return
                self._alone()
            number = self._waiting.popleft()
            worker = next((worker for worker in self._all if worker.piece is None), None)
            try:
                worker = worker or self._started()
            except OSError:  # the system lets no more be started: do with those that there are
                if not busy:
                    yield number, Died.of(None)
                    continue
                self._waiting.appendleft(number)
                return
            if worker.give(number, self.pieces[number], self.timeout):
                self._begun[number] = self._begun.get(number, 0) + 1
            else:
                self._dismiss(worker)
                self._waiting.appendleft(number)

    def _alone(self) -> None:
        """Let one piece that cost a process its life be the next, in a fresh process and with no other beside it."""
        for worker in list(self._all):
            self._dismiss(worker)
        self._waiting.append(self._again.popleft())

    def _started(self) -> _Worker:
        """Start a process, once more where what it is forked from was killed: that is started anew. Raises OSError."""
        try:
            return self._start()
        except (EOFError, ConnectionError):
            time.sleep(_ANEW)
        try:
            return self._start()
        except EOFError as error:
            raise ChildProcessError("what processes are forked from has ended, twice") from error

    def _start(self) -> _Worker:
        """Start a process. Raises OSError where the system does not let it, EOFError where it ends at once."""
        context = _context()
        if self.loads:
            context.set_forkserver_preload(list(self.loads))
        ours, theirs = context.Pipe()
        arguments = (self.work, self.prepare, theirs, self.progress is not None)
        process = context.Process(target=_serve, args=arguments, daemon=True)
        try:
            with _undisturbed():
                process.start()
        except (OSError, EOFError):
            ours.close()
            raise
        finally:
            theirs.close()
        worker = _Worker(process, ours)
        self._all.append(worker)
        return worker

    def _hear(self, worker: _Worker) -> Iterator[tuple[int, Any]]:
        """Take what a process says, or that it says nothing any more."""
        assert worker.piece is not None
        try:
            word, said = worker.pipe.recv()
        except (EOFError, OSError):
            number, exit_code = worker.piece, self._dismiss(worker)
            yield from self._lost(number, Died.of(exit_code, twice=True))
            return
        if word == "loaded":
            worker.loaded = True
            worker.begin(self.timeout)
        elif word == "progress":
            if self.progress is not None:
                self.progress(*said)
        elif word == "no memory":
            number = worker.piece
            self._dismiss(worker)
            yield from self._lost(number, OutOfMemory.told())
        else:
            number, worker.piece, worker.deadline = worker.piece, None, float("inf")
            yield number, said

    def _give_up(self, worker: _Worker) -> Iterator[tuple[int, Mishap]]:
        """End a process whose piece has had its time."""
        assert worker.piece is not None and self.timeout is not None
        number = worker.piece
        self._dismiss(worker)
        yield number, TimedOut.after(self.timeout)

    def _lost(self, number: int, mishap: Mishap) -> Iterator[tuple[int, Mishap]]:
        """Put a piece back for a time when nothing else is in hand, or say what cost it."""
        if self._begun[number] == 1:  # what was killed for want of memory may do when it is alone
            self._again.append(number)
        else:
            yield number, mishap

    def _dismiss(self, worker: _Worker) -> int | None:
        self._all.remove(worker)
        return worker.end()


def _context() -> ForkServerContext | SpawnContext:
    """Return how processes are made: forked from one that has loaded all once, where that is safe; else each anew."""
    return get_context("forkserver") if sys.platform == "linux" else get_context("spawn")


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Hold back the signals that ask to end until a process has been started, and keep them from that process.

    It would meet them while it is loading, and tell of it at length. It also must not look for modules in the working
    folder, where anything may lie.
    """
    before, safe = None, os.environ.get("PYTHONSAFEPATH")
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        if hasattr(signal, "pthread_sigmask"):
            from multiprocessing import resource_tracker

            resource_tracker.ensure_running()  # else it is started with the process, and lets the signals through
            before = signal.pthread_sigmask(signal.SIG_BLOCK, _ENDING)
        yield
    finally:
        if safe is None:
            del os.environ["PYTHONSAFEPATH"]
        else:
            os.environ["PYTHONSAFEPATH"] = safe
        if before is not None:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


# In the processes


def _serve(work: Work, prepare: Callable[[], None], pipe: Connection, tells: bool) -> None:
    """Do one piece after another until there are no more, or nobody who wants them."""
    with suppress(OSError, EOFError):  # the other end is gone, and with it whoever could be told
        try:
            _end_with_the_parent()
            prepare()
            pipe.send(("loaded", None))
            while True:
                piece = pipe.recv()
                progress = (lambda *told: pipe.send(("progress", told))) if tells else None
                pipe.send(("result", work(piece, progress)))
        except Exception as error:
            if not is_out_of_memory(error):
                raise
            pipe.send(("no memory", None))


def _end_with_the_parent() -> None:
    """End this process as soon as the one that started it has ended, and when asked to; not with its terminal's keys.

    Those reach every process of a terminal; the one that started this ends it.
    """
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _ENDING - {signal.SIGINT})
    else:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    assert parent is not None

    def watch() -> None:
        wait([parent.sentinel])
        os._exit(1)

    Thread(target=watch, daemon=True).start()
