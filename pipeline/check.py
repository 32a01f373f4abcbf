"""A job checked without running it: job file, sessions, register, every row of every export, transformations, ties."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.issue.publish import newest
from pipeline.issue.record import read_record
from pipeline.problems import JobError, Problems
from pipeline.work.before import before_notes
from pipeline.work.gather import Gathered, gather
from pipeline.work.named import report_missing
from pipeline.work.offset import time_offset
from pipeline.work.prepare import Prepared, load, prepare
from pipeline.work.routes import Routes, choose_routes
from pipeline.work.sift import sieve


@dataclass(frozen=True)
class Checked:
    """A job that can be run, and what a run would use; ``warnings`` are what should be looked at before."""

    prepared: Prepared
    gathered: Gathered
    routes: Routes
    warnings: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return in words what a run would read and use."""
        sessions = len(self.prepared.windows)
        told = [f"{sum(self.gathered.rows):,} rows in {len(self.gathered.rows)} files, {sessions} sessions"]
        for operation in self.routes.recorded():
            accuracy = "accuracy not stated" if operation.accuracy is None else f"accuracy {operation.accuracy:g} m"
            told.append(f"{operation.step}: {operation.name} ({accuracy})")
            told += [f"  grid {grid.name}, sha256 {grid.sha256}" for grid in operation.grids]
        return told


def check_job(path: Path) -> Checked:
    """Read everything that a run of the job would read, write nothing.

    Raises `JobError` with every problem found: those of the transformations and of the ties come together.
    """
    prepared = prepare(load(path))
    gathered = gather(prepared, sieve(prepared.windows, prepared.loaded.job.quality))
    problems = Problems()
    report_missing(prepared, gathered, problems)
    try:
        routes = choose_routes(prepared, gathered.area, time_offset(prepared, gathered))
    except JobError as error:
        raise JobError([*problems.found, *error.problems]) from error
    problems.raise_if_any()
    loaded = prepared.loaded
    before = newest(loaded.job.job.folder)
    last = read_record(before[1]) if before else None
    shown = prepared.register.shown if prepared.register is not None else None
    return Checked(prepared, gathered, routes, tuple(before_notes(prepared, gathered, routes, last, shown)))
