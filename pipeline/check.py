"""A job checked without running it: job file, sessions, register, every row of every export, transformations, ties."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.problems import JobError, Problems
from pipeline.work.gather import Gathered, gather
from pipeline.work.named import report_missing
from pipeline.work.prepare import Prepared, load, prepare
from pipeline.work.routes import Routes, choose_routes
from pipeline.work.sift import sieve


@dataclass(frozen=True)
class Checked:
    """A job with nothing wrong, and what a run would use."""

    prepared: Prepared
    gathered: Gathered
    routes: Routes

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
        routes = choose_routes(prepared, gathered.area)
    except JobError as error:
        raise JobError([*problems.found, *error.problems]) from error
    problems.raise_if_any()
    return Checked(prepared, gathered, routes)
