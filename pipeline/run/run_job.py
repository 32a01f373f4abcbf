"""A whole run of one job: the stages in their order, and the issue they make."""

import errno
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from pipeline.blunders.diagnose import diagnose
from pipeline.examine.examine import examine
from pipeline.intake.first_pass import Progress
from pipeline.intake.prepare import Prepared, load, prepare
from pipeline.issue.folder.confirmed import confirm, confirmed
from pipeline.issue.folder.publish import job_lock, newest, open_issue, recover
from pipeline.issue.geopackage.previous import Lost
from pipeline.issue.geopackage.write import NotWritten
from pipeline.issue.record import read_record, sealed, write_record
from pipeline.issue.record_types import Changes
from pipeline.issue.report.page import write_report
from pipeline.problems import JobError, Problem, Problems
from pipeline.reissue.against import against
from pipeline.reissue.changes import attributes_changed
from pipeline.reissue.earlier import Last
from pipeline.reissue.fingerprint import at_hand, fingerprint, same
from pipeline.run.layers import dry, lay_out
from pipeline.run.outcome import Outcome
from pipeline.run.ready import Ready
from pipeline.run.record import account
from pipeline.run.unaltered import refuse_altered
from pipeline.sealed import sealed_off
from pipeline.solve.solve import solve

#: The disk's refusals, which no change to the program mends: full, over a quota or a limit, read-only, forbidden.
_NO_ROOM = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EPERM, errno.EIO}


@sealed_off()
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
        examined = examine(prepared, problems, progress)
        solved = solve(examined.survey, examined.doubts)
        diagnoses = diagnose(examined.survey, solved)
        job = Ready(examined, solved, diagnoses, fingerprint(examined.survey, solved))
        if dry_run:
            return _would_issue(job, folder, progress)
        if not held:
            stack.enter_context(job_lock(folder))
        with _told_as_problems(folder):
            return _issue(job, folder, progress)


def _unchanged(prepared: Prepared, folder: Path) -> Outcome | None:
    """Return the newest issue where everything at hand is as it was when that was made or last confirmed."""
    recover(folder)
    found = newest(folder)
    if found is None or confirmed(folder, found[0]) != at_hand(prepared):
        return None
    return Outcome(read_record(found[1]), found[1].parent, False)


def _last(folder: Path) -> Last | None:
    """Return the newest issue of a job, None where there is none yet."""
    found = newest(folder)
    return Last.at(found[1]) if found else None


def _standing(job: Ready, last: Last | None) -> Outcome | None:
    """Return the newest issue where nothing that shapes the job's has changed since."""
    if last is None or not same(last.record["identity"], job.fingerprint.sums):
        return None
    return Outcome(last.record, last.package.parent, False)


def _would_issue(job: Ready, folder: Path, progress: Progress | None) -> Outcome:
    """Do everything but write."""
    last = _last(folder)
    if (standing := _standing(job, last)) is not None:
        return standing
    laid = dry(job.drafter, job.causes(), progress)
    refuse_altered(job.survey)
    number, before = (last.record["issue"] + 1, last.record) if last else (1, None)
    return Outcome(account(job, laid, number, None, before), None, False)


def _issue(job: Ready, folder: Path, progress: Progress | None) -> Outcome:
    """Write and publish the next issue, unless nothing that shapes it has changed since the newest."""
    recover(folder)
    last = _last(folder)
    if last is not None and (standing := _standing(job, last)) is not None:
        hand = at_hand(job.survey.prepared)
        refuse_altered(job.survey)
        confirm(folder, last.record["issue"], hand)
        return standing
    compared = against(last, job.survey, job.solved, job.fingerprint)
    because = list(compared.because)
    changes: Changes | None = None
    with open_issue(folder) as staged:
        package = staged.path / f"{job.survey.job.job.name}-{staged.number:03d}.gpkg"
        drafter = replace(job.drafter, reuse=compared.reuse)
        laid = lay_out(drafter, job.causes(), package, staged.number, progress, compared.rows)
        if last is not None:
            because += attributes_changed(laid.changes)
            changes = {**laid.changes, "since": last.record["issue"], "because": because}
        told = account(job, laid, staged.number, changes, last.record if last else None)
        told["files"] = [*told["files"], write_report(staged.path, told, laid.plan)]
        record = sealed(told)
        write_record(staged.path, record)
        hand = at_hand(job.survey.prepared)
        refuse_altered(job.survey)
        place = staged.publish(record["verdict"], "; ".join(because), datetime.now(UTC))
    confirm(folder, record["issue"], hand)
    return Outcome(record, place, True)


@contextmanager
def _told_as_problems(folder: Path) -> Iterator[None]:
    """Turn what the disk refuses, and an issue before that cannot be read, into what a user can do about it."""
    try:
        yield
    except Lost as error:
        raise JobError([Problem(str(folder), 0, f"the previous issue: {error}", "run the job again")]) from error
    except OSError as error:
        if error.errno not in _NO_ROOM and not isinstance(error, NotWritten):
            raise
        what, fix = f"the issue cannot be written: {error}", "check the disk, then run again"
        raise JobError([Problem(str(folder), 0, what, fix)]) from error
