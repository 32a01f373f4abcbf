"""A whole run of one job: the stages in their order, and the issue they make."""

import errno
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipeline.blunders.diagnose import Diagnoses, diagnose
from pipeline.blunders.sentences import causes, drifts, recorded
from pipeline.digest import digest, signature
from pipeline.draft.layer_rows import Carried, as_records
from pipeline.draft.second_pass import Drafter
from pipeline.examine.examine import Examined, examine
from pipeline.geodesy.grids import changed
from pipeline.intake.first_pass import Gathered, Progress
from pipeline.intake.operations import Routes
from pipeline.intake.prepare import Prepared, load, prepare
from pipeline.issue.attention import attention
from pipeline.issue.folder.confirmed import confirm, confirmed
from pipeline.issue.folder.publish import job_lock, newest, open_issue, recover
from pipeline.issue.geopackage.previous import Lost
from pipeline.issue.geopackage.write import NotWritten
from pipeline.issue.record import Record, read_record, sum_of, write_record
from pipeline.issue.report.page import write_report
from pipeline.notices.bases import base_facts
from pipeline.notices.before_run import before_notes
from pipeline.problems import JobError, Problem, Problems
from pipeline.read.files import Export
from pipeline.reissue.changed_rows import kept
from pipeline.reissue.changes import attributes_changed
from pipeline.reissue.earlier import Before, another_frame, reach, register_rows, reuse
from pipeline.reissue.fingerprint import at_hand, identity, same
from pipeline.reissue.reasons import reasons
from pipeline.run.layers import Earlier, Laid, dry, lay_out
from pipeline.run.record import account
from pipeline.solve.solve import Settled, settle
from pipeline.solve.stretches import courses

#: The disk's refusals, which no change to the program mends: full, over a quota or a limit, read-only, forbidden.
_NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EPERM, errno.EIO}


@dataclass(frozen=True)
class Outcome:
    """What became of a run: the issue's record, the folder it stands in, and whether this run made it."""

    record: dict[str, Any]
    folder: Path | None
    issued: bool

    @property
    def headline(self) -> str:
        """Say in a few words what became of the run."""
        number = f"issue {self.record['issue']:03d}"
        if self.issued:
            return f"{number} written to {_from_here(self.folder)}"
        return f"{number} would be written" if self.folder is None else f"nothing changed since {number}"

    @property
    def exit_code(self) -> int:
        """Return 3 where something of the issue that stands needs attention, made by this run or not, else 0."""
        return 3 if attention(self.record) else 0


def _from_here(folder: Path | None) -> str:
    """Return a path as it is typed in the working folder, where it lies below that."""
    try:
        return str(folder.relative_to(Path.cwd())) if folder is not None else ""
    except (OSError, ValueError):
        return str(folder)


def run_job(path: str | Path, *, dry_run: bool = False, progress: Progress | None = None) -> Outcome:
    """Run a job: read its exports, tie them to control, and issue corrected coordinates with their proof.

    Args:
        path: the job file.
        dry_run: do everything but write; another run may then hold the job.
        progress: told how far the run is.

    Returns the outcome, with the record of the new issue or, where nothing changed, of the one before.

    Raises `JobError` with every problem of the job and its inputs, and `JobHeld` where another run holds the job. Then
    nothing is written. Any other exception is a fault of the program, and the previous issue stands.
    """
    loaded = load(Path(path))
    folder = loaded.job.job.folder
    with ExitStack() as stack:
        # A folder that is not there yet is made only for a job without problems; nobody can be holding it.
        held = folder.is_dir() and not dry_run
        if held:
            stack.enter_context(job_lock(folder))
        problems = Problems()
        prepared = prepare(loaded, problems)
        if held and not problems.found and (standing := _unchanged(prepared, folder)) is not None:
            return standing
        worked = _work(examine(prepared, problems, progress))
        if dry_run:
            before = newest(folder)
            number = before[0] + 1 if before else 1
            last = read_record(before[1]) if before else None
            if before is not None and last is not None and same(last.get("identity") or {}, worked.sums):
                return Outcome(dict(last), before[1].parent, False)
            laid = dry(worked.drafter, worked.told(), progress)
            _check_unchanged(worked)
            return Outcome(dict(worked.record(laid, number, None, last)), None, False)
        if not held:
            stack.enter_context(job_lock(folder))
        try:
            return _issue(worked, folder, progress)
        except Lost as error:
            raise JobError([Problem(str(folder), 0, f"the issue before: {error}", "run the job again")]) from error
        except OSError as error:
            if error.errno not in _NO_ROOM and not isinstance(error, NotWritten):
                raise
            problem = Problem(
                str(folder), 0, f"the issue cannot be written: {error}", "see to the disk, then run again"
            )
            raise JobError([problem]) from error


@dataclass(frozen=True)
class _Worked:
    """A job of which everything is known but its points."""

    prepared: Prepared
    gathered: Gathered
    routes: Routes
    settled: Settled
    drafter: Drafter
    diagnoses: Diagnoses
    register: list[dict[str, str]]
    sums: dict[str, str]
    reach: dict[str, dict[str, str]]

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the columns of the layer ``points``."""
        return tuple(Carried.of(self.prepared.exports).schema.names)

    def told(self) -> list[str | None]:
        """Return per occupation what it may mean where it fails."""
        return causes(self.prepared, self.settled, self.diagnoses)

    def record(self, laid: Laid, number: int, changes: dict[str, Any] | None, last: Mapping[str, Any] | None) -> Record:
        """Return the record of the issue whose layers were laid out; ``last`` is that of the issue before."""
        facts = base_facts(self.prepared, self.gathered, self.routes, self.settled.bases)
        in_time = courses(self.prepared, self.settled)
        sessions = [
            {**row, **course, "base_log": fact}
            for row, course, fact in zip(as_records(laid.sessions), in_time, facts, strict=True)
        ]
        return account(
            self.prepared,
            self.routes,
            self.settled,
            issue=number,
            newest=self.gathered.newest or 0,
            exports=self.gathered.rows,
            rows=laid.rows,
            wholly=laid.wholly,
            sessions=sessions,
            checks=as_records(laid.checks),
            marks=as_records(laid.marks),
            shift_model=laid.shift_model,
            diagnoses=recorded(self.prepared, self.settled, self.diagnoses),
            drifts=drifts(self.prepared, self.settled, self.diagnoses.drifts),
            sums=self.sums,
            reach=self.reach,
            register=self.register,
            notes=before_notes(self.prepared, self.gathered, self.routes, last),
            changes=changes,
            files=laid.files,
        )


def _work(examined: Examined) -> _Worked:
    """Derive the shifts, judge the sessions, read what fails."""
    prepared, gathered, routes = examined.prepared, examined.gathered, examined.routes
    settled = settle(prepared, gathered, routes, examined.doubts)
    diagnoses = diagnose(prepared, routes, settled, routes.area)
    drafter = Drafter(prepared, gathered, routes, settled, examined.sieve)
    register = register_rows(prepared, settled)
    sums = identity(prepared, routes, register)
    return _Worked(
        prepared, gathered, routes, settled, drafter, diagnoses, register, sums, reach(prepared, routes, settled)
    )


def _unchanged(prepared: Prepared, folder: Path) -> Outcome | None:
    """Return the newest issue where everything at hand is as it was when that was made or last confirmed."""
    recover(folder)
    before = newest(folder)
    if before is None or confirmed(folder, before[0]) != at_hand(prepared):
        return None
    return Outcome(dict(read_record(before[1])), before[1].parent, False)


def _issue(worked: _Worked, folder: Path, progress: Progress | None) -> Outcome:
    """Write and publish the next issue, unless nothing that shapes it has changed since the newest."""
    recover(folder)
    found = newest(folder)
    last = read_record(found[1]) if found else None
    if found is not None and last is not None and same(last.get("identity") or {}, worked.sums):
        hand = at_hand(worked.prepared)
        _check_unchanged(worked)
        confirm(folder, found[0], hand)
        return Outcome(dict(last), found[1].parent, False)
    because, earlier, drafter = ["first issue"], None, worked.drafter
    if found is not None and last is not None:
        before = Before(last, found[1].with_name(f"{last['job']}-{last['issue']:03d}.gpkg"))
        why = reasons(before, worked.prepared, worked.settled, worked.sums, worked.reach, worked.register)
        because = why.all()
        obstacle = another_frame(last, worked.prepared.loaded.job)
        try:
            if obstacle is None:
                reused = reuse(before, worked.prepared, worked.reach)
                drafter = replace(drafter, reuse=reused)
                points = kept(before, reused, worked.prepared, worked.sums, worked.gathered.newest)
                before.forget_points()
                columns = worked.columns if why.by_file or why.general else ()
                side = before.side(columns) if points is None else None
                earlier = Earlier(before, why.of, points, side)
        except Lost as error:
            obstacle = str(error)
        if obstacle is not None:
            because.append(f"what moved since issue {last['issue']:03d} is not told: {obstacle}")
    with open_issue(folder) as staged:
        name = f"{worked.prepared.loaded.job.job.name}-{staged.number:03d}.gpkg"
        laid = lay_out(drafter, worked.told(), staged.path / name, staged.number, progress, earlier)
        changes = None
        if last is not None:
            changes = {"since": last["issue"], **(laid.changes or {})}
            because += attributes_changed(changes)
            changes["because"] = because
        record = worked.record(laid, staged.number, changes, last)
        record["files"] = [*record["files"], write_report(staged.path, record, laid.plan)]
        record["sum"] = sum_of(record)
        write_record(staged.path, record)
        hand = at_hand(worked.prepared)
        _check_unchanged(worked)
        place = staged.publish(record["verdict"], "; ".join(because), datetime.now(UTC))
    confirm(folder, record["issue"], hand)
    return Outcome(dict(record), place, True)


def _check_unchanged(worked: _Worked) -> None:
    """Refuse an issue of which a file was written to during the run: its sums are to be of the bytes that were read.

    Of exports every reading has held what it read against the sum; here it is seen that they still are as they were.
    """
    prepared, loaded = worked.prepared, worked.prepared.loaded
    job, summed = loaded.job, [(loaded.path, loaded.shown, loaded.sha256)]
    summed += [(export.path, export.shown, export.sha256) for export in prepared.exports if _touched(export)]
    if prepared.register is not None and job.control is not None:
        summed.append((job.control.file, prepared.register.shown, prepared.register.sha256))
    if job.sessions is not None:
        summed.append((job.sessions.file, loaded.show(job.sessions.file), prepared.sessions_sum))
    altered = [shown for path, shown, sha256 in summed if _sum_now(path) != sha256]
    grids = [grid for operation in worked.routes.recorded() for grid in operation.grids if changed(grid)]
    altered += [f"grid file {grid.name}" for grid in dict.fromkeys(grids)]
    if altered:
        what = "the file changed while the job was run"
        raise JobError([Problem(shown, 0, what, "run the job again") for shown in altered])


def _touched(export: Export) -> bool:
    try:
        return signature(export.path) != export.signature
    except OSError:
        return True


def _sum_now(path: Path) -> str:
    try:
        return digest(path)
    except OSError:
        return ""
