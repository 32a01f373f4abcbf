"""The jobs of a batch handed to the workers of a cluster, one whole job at a time, and what became of each."""

import os
import secrets
from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from time import monotonic, sleep
from typing import Any

from pipeline.cluster.folder_signs import WantedFolder
from pipeline.cluster.preflight import not_seen, same_program, try_folders
from pipeline.cluster.scheduler import Lost, Scheduler, Worker
from pipeline.problems import JobError, check_working_folder
from pipeline.replace import replace
from pipeline.run.fleet import Result
from pipeline.run.mishaps import Died
from pipeline.run.one_folder import sharing

#: Seconds between looks at which workers are there, and for which a cluster without any is waited for.
_LOOK, _WITHOUT = 1.0, 30.0


def run_on_cluster(
    jobs: Sequence[Path], address: str, *, timeout: float | None = None, dry_run: bool = False
) -> Iterator[tuple[Path, Result]]:
    """Return the jobs with what they end with, as `run_many` yields them, run by the workers of a Dask scheduler.

    Raises `JobError` before any job is run, where the scheduler, its workers or the folder that they share with this
    machine will not do. Where the iterator is closed, or this process ends, what has not begun never will.
    """
    check_working_folder(jobs)
    given = {Path(os.path.abspath(job)): job for job in jobs}
    shared = sharing(list(given.values()))
    refused = {path: shared[job] for path, job in given.items() if job in shared}
    scheduler = Scheduler(address)
    try:
        workers = scheduler.first_workers()
        try:
            unseen = _preflight(scheduler, workers, [job for job in given if job not in refused])
        except Lost:  # one of them may have ended or been restarted just now; it is looked at again when it is back
            sleep(_LOOK)
            there = scheduler.workers()
            workers = [one for one in workers if one in there] or scheduler.first_workers()
            unseen = _preflight(scheduler, workers, [job for job in given if job not in refused])
    except Lost as error:
        scheduler.close()
        raise scheduler.refused(str(error), "check that it and its workers are running, then try again") from None
    except BaseException:
        scheduler.close()
        raise
    refused |= {Path(job): _named(error, job, str(given[Path(job)])) for job, error in unseen.items()}
    jobs = [job for job in given if job not in refused]
    results = _HandOut(scheduler, jobs, workers, timeout, dry_run, given).results()
    return ((given[job], result) for job, result in _after(refused, results))


def _preflight(scheduler: Scheduler, workers: list[Worker], jobs: Sequence[Path]) -> dict[str, JobError]:
    """Return the jobs that some worker cannot see, by their files. Raises `JobError` and `Lost`."""
    if not workers:
        raise scheduler.refused("the scheduler has no workers", f"start some: dask worker {scheduler.address}")
    same_program(scheduler, workers)
    wanted = [one for job in jobs if (one := WantedFolder.from_job_file(job)) is not None]
    refused = not_seen(scheduler, workers, wanted)
    try_folders(scheduler, workers, [one for one in wanted if one.job not in refused])
    return refused


def _named(error: JobError, file: str, given: str) -> JobError:
    """Return a job's problems with its file as it was given."""
    return JobError([replace(one, file=given if one.file == file else one.file) for one in error.problems])


def _after(refused: dict[Path, JobError], results: Iterator[tuple[Path, Result]]) -> Iterator[tuple[Path, Result]]:
    yield from refused.items()
    yield from results


@dataclass
class _HandOut:
    """Jobs on their way: as many in hand as workers have threads, so that none waits where another might run it.

    ``given`` has their names as they were given, from the working folder: what is told of them has these names.
    """

    scheduler: Scheduler
    jobs: Sequence[Path]
    workers: list[Worker]
    timeout: float | None
    dry_run: bool
    given: Mapping[Path, Path] = field(default_factory=dict)
    _waiting: deque[Path] = field(default_factory=deque, init=False)
    _again: deque[Path] = field(default_factory=deque, init=False)
    _begun: Counter[Path] = field(default_factory=Counter, init=False)
    _in_hand: dict[Any, tuple[Path, Worker]] = field(default_factory=dict, init=False)
    _unfit: dict[Worker, str] = field(default_factory=dict, init=False)
    _told: "SimpleQueue[Any]" = field(default_factory=SimpleQueue, init=False)
    _look_at: float = field(default=0.0, init=False)
    _last_seen: float = field(default=0.0, init=False)

    def results(self) -> Iterator[tuple[Path, Result]]:
        """Yield each job with what it ends with; one whose worker is lost is tried once more, after all others."""
        self._waiting.extend(self.jobs)
        self._last_seen = monotonic()
        try:
            while self._waiting or self._again or self._in_hand:
                yield from self._look()
                self._hand_out()
                yield from self._hear()
        except Lost as error:
            yield from self._none_left(f"the cluster was lost: {error}")
        finally:
            for given in self._in_hand:
                self.scheduler.forget(given)
            self.scheduler.close()

    def _look(self) -> Iterator[tuple[Path, Result]]:
        """See which workers are there, now and then: jobs of those that are gone are lost."""
        if monotonic() < self._look_at:
            return
        there = self.scheduler.workers()
        self.workers = [one for one in self.workers if one in there]
        for given, (_, worker) in list(self._in_hand.items()):
            if worker not in self.workers:
                yield from self._lost(given)
        for worker in there:
            if worker not in self.workers and worker not in self._unfit:
                self._admit(worker)
        if self.workers:
            self._last_seen = monotonic()
        elif monotonic() - self._last_seen > _WITHOUT:
            why = next(iter(self._unfit.values()), "none came back")
            raise Lost(f"no worker is left ({why})")
        self._look_at = monotonic() + _LOOK

    def _admit(self, worker: Worker) -> None:
        """Take in a worker that came later, if it will do as those will that were there."""
        wanted = [one for job in (*self._waiting, *self._again) if (one := WantedFolder.from_job_file(job)) is not None]
        try:
            same_program(self.scheduler, [worker])
            for error in not_seen(self.scheduler, [worker], wanted).values():
                raise error
            try_folders(self.scheduler, [worker], wanted)
        except JobError as error:
            self._unfit[worker] = error.problems[0].what
        except (Lost, OSError):
            return  # it is gone again, or is asked again at the next look
        else:
            self.workers.append(worker)

    def _hand_out(self) -> None:
        """Give every thread of a worker that has no job one, the idlest worker first."""
        if not self._waiting and not self._in_hand and self._again:
            self._waiting.append(self._again.popleft())
        busy = Counter(worker for _, worker in self._in_hand.values())
        while self._waiting:
            free = [one for one in self.workers if busy[one] < one.threads]
            if not free:
                return
            worker = min(free, key=lambda one: busy[one] / one.threads)
            job = self._waiting.popleft()
            key = f"tiedown-{secrets.token_hex(8)}"
            named = str(self.given.get(job, job))
            given = self.scheduler.give(worker, key, named, os.getcwd(), self.timeout, self.dry_run, self._told.put)
            self._in_hand[given] = (job, worker)
            self._begun[job] += 1
            busy[worker] += 1

    def _hear(self) -> Iterator[tuple[Path, Result]]:
        """Wait for a job to come to its end, until it is time to look again."""
        try:
            given = self._told.get(timeout=max(self._look_at - monotonic(), 0.01))
        except Empty:
            return
        if given not in self._in_hand:
            return
        try:
            result = self.scheduler.take(given)
        except Lost:
            self.scheduler.workers()  # raises where it is the scheduler that is gone
            yield from self._lost(given)
            return
        job, _ = self._in_hand.pop(given)
        self.scheduler.forget(given)
        yield job, result

    def _lost(self, given: Any) -> Iterator[tuple[Path, Result]]:
        """Put a job whose worker is gone back for later, or say that it cost two."""
        job, worker = self._in_hand.pop(given)
        self.scheduler.forget(given)
        if self._begun[job] == 1:
            self._again.append(job)
        else:
            fix = "check the worker's log and its memory; run the job alone, without --cluster"
            yield job, Died(f"the worker that ran the job was lost, twice, the second time at {worker.address}", fix)

    def _none_left(self, why: str) -> Iterator[tuple[Path, Result]]:
        begun = [job for job, _ in self._in_hand.values()]
        for job in (*begun, *self._waiting, *self._again):
            yield job, Died(why, "check that the scheduler and its workers are running, then run it again")
