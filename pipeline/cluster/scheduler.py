"""A Dask scheduler and its workers, asked within bounded time; the only module that knows Dask."""

import asyncio
import logging
import pickle
import warnings
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from queue import Empty, SimpleQueue
from threading import Thread
from time import monotonic, sleep
from typing import Any, TypeVar

from msgspec import Struct

from pipeline.cluster.folder_signs import WantedFolder
from pipeline.problems import JobError, Problem
from pipeline.words import counted, plural

T = TypeVar("T")

#: Seconds within which a scheduler must answer, a worker must be there, all workers must answer, and a result come.
_CONNECT, _ANY, _ANSWER, _FETCH, _CLOSE = 4.0, 4.0, 30.0, 15.0, 3.0
#: Seconds within which a worker must answer that is asked alone, since not all did; so many that do not are named.
_ALONE, _NAMED = 5.0, 3


class Lost(Exception):
    """The scheduler, or what was asked of its workers, is gone."""


class Worker(Struct, frozen=True, order=True):
    """A worker's address, what tells it from one that had this address before, and how many jobs it runs at once."""

    address: str
    life: str
    threads: int

    @property
    def name(self) -> str:
        """Return a name that can be part of a file's."""
        return "".join(sign if sign.isalnum() else "-" for sign in self.address)


class Scheduler:
    """A connection to a scheduler. What it asks of workers travels by value, so that any may be asked what it is."""

    def __init__(self, address: str) -> None:
        """Connect. Raises `JobError` where Dask is missing here or nobody answers at the address."""
        self.address = address
        try:
            from distributed import Client
        except ImportError as error:
            fix = "python -m pip install 'dask[distributed]', here and on every worker"
            raise self.refused(f"--cluster needs dask[distributed], which is not there ({error})", fix) from None
        _silence()
        try:
            _within(_CONNECT, lambda: asyncio.run(_greet(address)))
            self._client = _within(
                _CONNECT, lambda: Client(address, timeout=_CONNECT, set_as_default=False, name="tiedown")
            )
        except Exception as error:  # what an address leads to may answer anything
            fix = "check that it is running, and write its address as tcp://HOST:8786, not that of its web page"
            raise self.refused(f"no Dask scheduler answers there ({_short(error)})", fix) from None

    def refused(self, what: str, fix: str) -> JobError:
        """Return a problem of the cluster as a whole."""
        return JobError([Problem(f"--cluster {self.address}", 0, what, fix)])

    def close(self) -> None:
        """Let go of all that was given and has not begun. What a worker has begun it brings to its end."""
        with suppress(Exception):
            _within(2 * _CLOSE, lambda: self._client.close(timeout=_CLOSE))

    def workers(self) -> list[Worker]:
        """Return the workers that are there. Raises `Lost`."""
        if self._client.status != "running":
            raise Lost("the scheduler is gone")
        try:
            found = _within(_ANSWER, lambda: self._client.scheduler_info(n_workers=-1))["workers"]
        except Exception as error:
            raise Lost(f"the scheduler does not answer ({_short(error)})") from None
        return sorted(Worker(address, str(one["local_directory"]), one["nthreads"]) for address, one in found.items())

    def first_workers(self) -> list[Worker]:
        """Return the workers, waited for a while where there are none. Raises `Lost`."""
        until = monotonic() + _ANY
        while not (found := self.workers()) and monotonic() < until:
            sleep(0.2)
        return found

    def pythons(self) -> dict[str, str]:
        """Return each worker's version of Python by its address, asked without anything of ours. Raises `Lost`."""
        try:
            said = _within(_ANSWER, self._client.get_versions)["workers"]
        except Exception as error:
            raise self._lost([worker.address for worker in self.workers()], error) from None
        return {address: ".".join(one["host"]["python"].split(".")[:2]) for address, one in said.items()}

    def programs(self, workers: Iterable[Worker]) -> dict[str, str]:
        """Return the sum of each worker's program, "" where it has none. Raises `Lost`."""

        def asked() -> str:
            try:
                from pipeline.cluster.worker_calls import program_sum
            except ImportError:
                return ""
            return program_sum()

        return self._ask(workers, asked)

    def not_seen(self, workers: Iterable[Worker], wanted: list[WantedFolder]) -> dict[str, dict[str, str]]:
        """Return what each worker does not see of the jobs. Raises `Lost`."""

        def asked(wanted: list[WantedFolder]) -> dict[str, str]:
            from pipeline.cluster.worker_calls import not_seen

            return not_seen(wanted)

        return self._ask(workers, asked, wanted)

    def tried(self, worker: Worker, trials: list[tuple[str, str, str]]) -> list[str]:
        """Return what fails at a worker of each folder that is tried. Raises `Lost`."""

        def asked(trials: list[tuple[str, str, str]], name: str) -> list[str]:
            from pipeline.cluster.worker_calls import failures_in_folders

            return failures_in_folders(trials, name)

        found: list[str] = self._ask([worker], asked, trials, worker.name)[worker.address]
        return found

    def _ask(self, workers: Iterable[Worker], asked: Callable[..., Any], *more: Any) -> dict[str, Any]:
        """Call a function in workers, beside what they run. It must import what it needs, and hang on nothing."""
        addresses = [worker.address for worker in workers]
        try:
            return dict(_within(_ANSWER, lambda: self._client.run(asked, *more, workers=addresses)))
        except Exception as error:
            raise self._lost(addresses, error) from None

    def _lost(self, addresses: Iterable[str], error: Exception) -> Lost:
        """Return that workers do not answer, by their addresses where others do; each is asked once more, alone."""

        def asked() -> bool:
            return True

        def ask(address: str) -> None:
            with suppress(Exception):
                answered.update(_within(_ALONE, lambda: self._client.run(asked, workers=[address])))

        every, answered = list(addresses), dict[str, bool]()
        threads = [Thread(target=ask, args=(address,), daemon=True) for address in every]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        silent = [address for address in every if address not in answered] if answered else []
        if not silent:
            return Lost(f"workers do not answer ({_short(error)})")
        more = f" and {counted(len(silent) - _NAMED, 'other worker')}" if len(silent) > _NAMED else ""
        who = f"the {plural(len(silent), 'worker')} at {', '.join(silent[:_NAMED])}{more}"
        return Lost(f"{who} {plural(len(silent), 'does', 'do')} not answer, the others do ({_short(error)})")

    def give(
        self,
        worker: Worker,
        key: str,
        job: str,
        start: str,
        timeout: float | None,
        dry_run: bool,
        told: Callable[[Any], None],
    ) -> Any:
        """Let a worker run a job, and no other one, whatever becomes of it; ``told`` is called with what is returned.

        The job's path may count from the folder ``start``.

        Raises `Lost`.
        """

        def work(job: str, start: str, timeout: float | None, dry_run: bool, life: str) -> bytes:
            from distributed import get_worker

            from pipeline.cluster.worker_calls import run_beside

            if get_worker().local_directory != life:
                return b""  # restarted at the same address: how often a job is tried is for the command to say
            return run_beside(job, start, timeout, dry_run)

        ways: Mapping[str, Any] = {"workers": [worker.address], "allow_other_workers": False, "retries": 0}
        try:
            given = self._client.submit(work, job, start, timeout, dry_run, worker.life, key=key, pure=False, **ways)
            given.add_done_callback(told)
        except Exception as error:
            raise Lost(f"the scheduler does not accept the job ({_short(error)})") from None
        return given

    def take(self, given: Any) -> Any:
        """Return the result of a job that was given. Raises `Lost` where what ran it, or the result, is gone."""
        try:
            result = _within(_FETCH, lambda: given.result(timeout=_FETCH)) if given.status == "finished" else None
            if not result and given.status == "error":
                raise Lost(_short(given.exception(timeout=_FETCH)))
        except Lost:
            raise
        except Exception as error:
            raise Lost(_short(error)) from None
        if not result:
            raise Lost("the worker is gone")
        return pickle.loads(result)

    def forget(self, given: Any) -> None:
        """Let go of a job that was given, begun or not."""
        with suppress(Exception):
            given.cancel(force=True)


def _silence() -> None:
    """Keep Dask's log and warnings from the terminal: what matters is told here, in words."""
    for name in ("distributed", "tornado", *logging.root.manager.loggerDict):
        if name.partition(".")[0] in ("distributed", "tornado"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    warnings.filterwarnings("ignore", module="distributed")


async def _greet(address: str) -> None:
    """See whether a scheduler is there, before a client is made: one that fails half made would block the end."""
    from distributed import Security, rpc

    ways = {"timeout": _CONNECT, "connection_args": Security().get_connection_args("client")}
    async with rpc(address, **ways) as there:
        said = await asyncio.wait_for(there.identity(), _CONNECT)
    if said.get("type") != "Scheduler":
        raise ValueError(f"a {said.get('type', 'stranger')} does")


def _within(seconds: float, call: Callable[[], T]) -> T:
    """Return what a call returns, or raise what it raises; TimeoutError where it takes longer."""
    answer: SimpleQueue[tuple[bool, Any]] = SimpleQueue()

    def calling() -> None:
        try:
            answer.put((True, call()))
        except Exception as error:
            answer.put((False, error))

    Thread(target=calling, daemon=True).start()
    try:
        good, said = answer.get(timeout=seconds)
    except Empty:
        raise TimeoutError(f"no answer within {seconds:g} s") from None
    if not good:
        raise said
    result: T = said
    return result


def _short(error: BaseException | None) -> str:
    text = str(error).strip().splitlines()
    return text[0][:200] if text else type(error).__name__
