"""Runs many jobs in worker processes: an error, crash or hang in one job does not stop the others."""

import os
import sys
from collections.abc import Collection, Iterator, Sequence
from contextlib import suppress
from functools import partial
from importlib import import_module
from pathlib import Path

from pipeline.issue.record import RecordError
from pipeline.problems import JobError, JobHeld, without_folder
from pipeline.progress import Progress
from pipeline.run.glance import unchanged_at_a_glance
from pipeline.run.lean import loaded_for_good
from pipeline.run.mishaps import Mishap, OutOfMemory, is_out_of_memory, mishap_of
from pipeline.run.one_folder import sharing
from pipeline.run.outcome import Outcome
from pipeline.sealed import cases_as_in_english, unheard

#: The module that loads what a job needs.
LOADED = "pipeline.run.loaded"
_RUN_JOB = "pipeline.run.run_job"
Result = Outcome | JobError | JobHeld | RecordError | Mishap


def run_many(
    jobs: Sequence[Path],
    *,
    workers: int = 1,
    timeout: float | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
    silent: Collection[Path] = (),
) -> Iterator[tuple[Path, Result]]:
    """Yield each job with its outcome, or what it ended with, as each comes to its end.

    A job alone runs in this process, unless it is given no more than ``timeout`` seconds. Of several each runs in a
    process of ``workers``: PROJ, GDAL and their settings belong to a process, and one that dies costs its job alone.
    Those whose files are ``silent`` are looked at by that process only.
    """
    if len(jobs) == 1 and timeout is None:
        yield jobs[0], _run_here(jobs[0], progress, dry_run)
        return
    refused = {job: JobError([lost]) for job in jobs if (lost := without_folder(job)) is not None}
    yield from refused.items()
    jobs = [job for job in jobs if job not in refused]
    if all(job.is_absolute() for job in jobs):
        _stand_somewhere()
    refused = sharing([job for job in jobs if job not in silent])
    yield from refused.items()
    jobs = [job for job in jobs if job not in refused]
    if not jobs:
        return
    from pipeline.run.crew import Crew  # a job alone needs none of it

    work = partial(run_one, dry_run=dry_run)
    crew = Crew(work, jobs, min(workers, len(jobs)), load, timeout, progress, loads=[LOADED])
    for number, result in crew.results():
        yield jobs[number], result


def _stand_somewhere() -> None:
    """Leave a working folder that is gone or forbidden, in which no process can be started and no name counts from."""
    try:
        usable = os.access(os.getcwd(), os.X_OK)
    except OSError:
        usable = False
    if not usable:
        os.chdir(os.sep)


def _run_here(job: Path, progress: Progress | None, dry_run: bool) -> Result:
    try:
        return run_one(job, progress, dry_run)
    except OutOfMemory as error:
        return error


def run_one(job: Path, progress: Progress | None, dry_run: bool) -> Result:
    """Run a job and return what became of it. Raises `OutOfMemory`, after which a process is good for nothing."""
    try:
        if not dry_run and (standing := unchanged_at_a_glance(job)) is not None:
            return standing
        if _RUN_JOB not in sys.modules:  # once in a process: what a job leaves behind is not for good
            with loaded_for_good():
                import_module(_RUN_JOB)
        from pipeline.run.run_job import run_job

        return run_job(job, dry_run=dry_run, progress=progress, told=False)
    except (JobError, JobHeld, RecordError) as error:
        return error
    except Exception as error:  # whatever it is, the other jobs go on; the caller tells mistakes from faults
        if is_out_of_memory(error):
            raise OutOfMemory.told() from None
        return mishap_of(error)


def load() -> None:
    """Load what a job needs, before the time of the first one begins, in a process of the command's own."""
    unheard()
    cases_as_in_english()
    with suppress(EOFError):  # a damaged file of the installation, which the first job tells of in words
        import_module(LOADED)
