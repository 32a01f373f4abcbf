"""Can these workers run these jobs? Asked before any job is run: is it one program, are the files seen and shared?"""

import sys
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from pipeline.cluster.folder_signs import WantedFolder, one_of_each, signed_folders
from pipeline.cluster.scheduler import Scheduler, Worker
from pipeline.cluster.worker_calls import program_sum
from pipeline.issue.folder.shared_folder_probe import Probe, failures_seen_here, probe
from pipeline.problems import JobError, Problem
from pipeline.words import counted

_SHARE = "jobs of a cluster must be in a folder that every machine has under the same path, shared by NFS or the like"


def same_program(scheduler: Scheduler, workers: Sequence[Worker]) -> None:
    """Raise `JobError` where a worker has another Python or another version of this program, or none; also `Lost`."""
    ours = f"{sys.version_info.major}.{sys.version_info.minor}"
    there = {worker.address for worker in workers}
    others = {address: version for address, version in scheduler.pythons().items() if address in there}
    _refuse(scheduler, {one: f"has Python {v}, this is {ours}" for one, v in others.items() if v != ours})
    sums = scheduler.programs(workers)
    found = {one: "has another version of tiedown" if s else "has no tiedown, or one that knows no clusters"
             for one, s in sums.items() if s != program_sum()}  # fmt: skip
    _refuse(scheduler, found)


def _refuse(scheduler: Scheduler, found: dict[str, str]) -> None:
    if not found:
        return
    address, what = next(iter(sorted(found.items())))
    more = f", and {counted(len(found) - 1, 'other worker')} differ too" if len(found) > 1 else ""
    fix = "install there what runs here, as one version on all machines, and restart the workers"
    raise scheduler.refused(f"the worker at {address} {what}{more}", fix)


def not_seen(scheduler: Scheduler, workers: Sequence[Worker], wanted: Sequence[WantedFolder]) -> dict[str, JobError]:
    """Return the jobs that some worker cannot see, or whose folder cannot be tried, by their files. Raises `Lost`."""
    refused: dict[str, JobError] = {}
    with signed_folders(wanted) as (those, fails):
        found = scheduler.not_seen(workers, those)
    for job, what in fails.items():
        refused[job] = JobError([Problem(job, 0, what, "let the user who runs jobs on the cluster write there")])
    for address, missing in found.items():
        for job, what in missing.items():
            problem = Problem(job, 0, f"the worker at {address} cannot run it: {what}", _SHARE)
            refused.setdefault(job, JobError([problem]))
    return refused


def try_folders(scheduler: Scheduler, workers: Sequence[Worker], wanted: Sequence[WantedFolder]) -> None:
    """Try one folder of each file system that jobs are issued to, with each worker. Raises `JobError` and `Lost`."""
    with ExitStack() as stack:
        trials = []
        for folder in one_of_each(wanted):
            try:
                trials.append(stack.enter_context(probe(folder)))
            except OSError as error:
                raise _fails(folder, "here", error.strerror or str(error)) from None
        for worker in workers if trials else ():
            _try(scheduler, worker, trials)


def _try(scheduler: Scheduler, worker: Worker, trials: Sequence[Probe]) -> None:
    told = scheduler.tried(worker, [(str(one.place), one.ours, one.theirs) for one in trials])
    for one, fails in zip(trials, told, strict=True):
        if fails := fails or failures_seen_here(one, worker.name):
            raise _fails(one.place.parent, f"by the worker at {worker.address}", fails)


def _fails(folder: Path, where: str, what: str) -> JobError:
    return JobError([Problem(str(folder), 0, f"its test as a shared folder {where} failed: {what}", _SHARE)])
