"""Many jobs, one after another or shared among worker processes; one job's mistake stops no other."""

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from pipeline.intake.first_pass import Progress
from pipeline.problems import JobError, JobHeld
from pipeline.run.one_folder import sharing
from pipeline.run.outcome import Outcome
from pipeline.run.run_job import run_job

Result = Outcome | JobError | JobHeld | Exception


def run_many(
    jobs: Sequence[Path], *, workers: int = 1, dry_run: bool = False, progress: Progress | None = None
) -> Iterator[tuple[Path, Result]]:
    """Yield each job with its outcome, or the exception that it ended with, in the order given.

    With several workers every job runs in a process of its own kind: PROJ, GDAL and their settings belong to a process.
    """
    refused = sharing(jobs) if len(jobs) > 1 else {}
    results = _results([job for job in jobs if job not in refused], workers, dry_run, progress)
    for job in jobs:
        yield (job, refused[job]) if job in refused else next(results)


def _results(
    jobs: Sequence[Path], workers: int, dry_run: bool, progress: Progress | None
) -> Iterator[tuple[Path, Result]]:
    workers = min(workers, len(jobs))
    if workers <= 1:
        for job in jobs:
            yield job, _run(job, dry_run, progress)
        return
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        waiting = [(job, pool.submit(_run, job, dry_run, None)) for job in jobs]
        for job, future in waiting:
            try:
                yield job, future.result()
            except Exception as died:  # a worker that was killed takes its pool with it; the other jobs say so too
                yield job, died


def _run(job: Path, dry_run: bool, progress: Progress | None) -> Result:
    try:
        return run_job(job, dry_run=dry_run, progress=progress, told=False)
    except Exception as error:  # whatever it is, the other jobs go on; the caller tells mistakes from faults
        return error
