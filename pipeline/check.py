"""A job checked without running it: job file, sessions, register, every row of every export, transformations, ties."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.issue.publish import newest
from pipeline.issue.record import Record, RecordError, read_record
from pipeline.problems import JobError, Problem, Problems
from pipeline.words import Doubt
from pipeline.work.before import before_notes
from pipeline.work.examine import Examined, examine
from pipeline.work.gather import Gathered
from pipeline.work.named import named_by_themselves
from pipeline.work.prepare import Prepared, load, prepare
from pipeline.work.routes import Routes
from pipeline.work.settle import settle


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

    Raises `JobError` with every problem found.
    """
    loaded, problems = load(path), Problems()
    prepared = prepare(loaded, problems)
    examined = examine(prepared, problems)
    gathered, routes = examined.gathered, examined.routes
    last = _last(loaded.job.job.folder)
    shown = prepared.register.shown if prepared.register is not None else None
    told = [*map(str, examined.doubts), *_unanswered(examined)]
    warnings = (*told, *before_notes(prepared, gathered, routes, last, shown))
    return Checked(prepared, gathered, routes, warnings)


def _unanswered(examined: Examined) -> list[str]:
    """Return in words which readings are meant for marks and compare with none: known once there are shifts."""
    if not named_by_themselves(examined.prepared, examined.gathered):
        return []
    settled = settle(examined.prepared, examined.gathered, examined.routes, examined.doubts)
    found = [doubt for doubt in settled.doubts if doubt.kind is Doubt.UNANSWERED_CHECK]
    return [*map(str, found), *settled.unsaid]


def _last(folder: Path) -> Record | None:
    """Return the record of the newest issue, None where there is none yet."""
    before = newest(folder)
    try:
        return read_record(before[1]) if before else None
    except RecordError as error:
        fix = "tiedown verify says what else of it is altered"
        raise JobError([Problem(str(folder), 0, f"the newest issue cannot be read: {error}", fix)]) from error
