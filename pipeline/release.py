"""An issue released by hand: ``current`` is let show it, whatever was decided when it was made, and why is kept."""

from datetime import UTC, datetime
from pathlib import Path

from msgspec import Struct

from pipeline.intake.prepare import load, owner
from pipeline.issue.folder.intact import refuse_damaged
from pipeline.issue.folder.manual_release import ManualRelease, find_issue_to_show, write_release
from pipeline.issue.folder.publish import issues, job_lock, recover
from pipeline.issue.folder.standing_issues import standing_issue
from pipeline.issue.folder.thinned_issues import refuse_thinned
from pipeline.problems import JobError, Problem, refusals_told, refused, remedy, said_of
from pipeline.reissue.shown import put_right, refuse_other


class Released(Struct, frozen=True):
    """What was done: the issue, the one that `current` showed before (None: none), and which is the newest."""

    issue: int
    before: int | None
    newest: int
    because: str

    @property
    def was_current(self) -> bool:
        """Say whether the issue was the current one already, so that there was nothing to do."""
        return self.issue == self.before


def _refuse_other_shown(folder: Path) -> None:
    """Raise `JobError` where somebody changed what stands for the issue that `current` shows: it would be gone.

    Where that issue is damaged there is nothing to hold it against.
    """
    if (shown := find_issue_to_show(folder, [number for number, _ in issues(folder)])) is None:
        return
    try:
        record_at, record = standing_issue(folder, shown)
        refuse_damaged(record_at.parent, record, {})
    except JobError:
        return
    refuse_other(folder, record_at.parent, record, {})


@refusals_told()
def release(path: Path, number: int, because: str) -> Released:
    """Let `current` show an issue, older or newer than the one that it shows, and keep when and why.

    Args:
        path: the job file.
        number: the issue.
        because: why it may be used, in somebody's words.

    Raises `JobError` where there is no such issue, where it is not what was issued, where no reason is given or the
    disk refuses; and `JobHeld` where a run holds the job.
    """
    loaded = load(path)
    folder, why = loaded.job.job.folder, " ".join(because.split())
    if not why:
        raise refused(path, "no reason is given", 'say why the issue may be used: --because "..."')
    if not folder.is_dir():
        raise refused(path, f"there is no issue {number:03d} in {folder}", "see what tiedown history says")
    with job_lock(folder, owner(loaded)):
        record_at, record = standing_issue(folder, number)
        refuse_thinned(record_at.parent)
        refuse_damaged(record_at.parent, record, {})
        try:
            _refuse_other_shown(folder)
            before, newest = recover(folder), max(each for each, _ in issues(folder))
            if before != number:
                write_release(folder, ManualRelease(number, newest, datetime.now(UTC).replace(microsecond=0), why))
                recover(folder)
            put_right(folder, record_at.parent, record, {})
        except OSError as error:
            what = f"issue {number:03d} cannot be released: {said_of(error)}"
            raise JobError([Problem(str(folder), 0, what, remedy(error))]) from error
    return Released(number, before, newest, why)
