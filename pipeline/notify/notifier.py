"""Whoever is to be told when a job's state changed is told once, by the command that the job or the caller names.

Commands run beside the jobs that are still to be run; none of them changes what becomes of a job. What tells is loaded
where a command is named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct, field

from pipeline.job.command_named import Command, command_named
from pipeline.notify.told import Told
from pipeline.run.fleet import Result
from pipeline.sealed import users_environment

if TYPE_CHECKING:
    from concurrent.futures import Future, ThreadPoolExecutor

#: Commands that run at once.
_AT_ONCE = 4
#: Seconds after which whoever waits for one looks whether it is to end itself.
_AWAKE = 0.2


class Notifier(Struct):
    """Tells of jobs by ``own`` command, that of the caller, else by the one that each names."""

    own: Command | None = None
    _around: dict[str, str] = field(default_factory=users_environment)
    _pool: ThreadPoolExecutor | None = None
    _coming: list[Future[Told | None]] = field(default_factory=list)
    _late: list[tuple[str, ...]] = field(default_factory=list)

    def tell(self, job: Path, result: Result, said: Callable[[], tuple[int, str]]) -> None:
        """Begin to tell of a job where its state changed; ``said`` gives its exit code, and lines for people."""
        command = self.own or command_named(job)
        if command is None:
            return
        from pipeline.notify.job_change import JobChange
        from pipeline.notify.telling import is_due, tell

        change = JobChange(job, result)
        if not is_due(change):
            return
        if self._pool is None:
            from concurrent.futures import ThreadPoolExecutor

            self._pool = ThreadPoolExecutor(_AT_ONCE)
        self._coming.append(self._pool.submit(tell, change.told_as(*said()), command, self._around, self._late))

    def told(self) -> Iterator[Told]:
        """Wait until all is told, and yield what became of it in the order in which it was begun."""
        for future in self._coming:
            # a signal that comes just as the main thread begins to wait is only answered when it wakes
            while not future.done():
                with suppress(TimeoutError):
                    future.result(_AWAKE)
            if (told := future.result()) is not None:
                yield told
        self._coming.clear()
