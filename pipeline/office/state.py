"""The state of one job, as an office wants to know it: what needs somebody, what changed lately, the quiet facts."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

from pipeline.issue.attention import attention
from pipeline.issue.folder.lock_holder import holding
from pipeline.issue.folder.ownership import Owner, in_the_way
from pipeline.issue.release import release_command, stays, waits_for
from pipeline.issue.report.word_meanings import URGENCY
from pipeline.job.named_folder import folder_in
from pipeline.office.events import events
from pipeline.office.issue_status import Issued, issued, size_of
from pipeline.office.job_files import JobFile, Orphan
from pipeline.office.logged_runs import last_ended, last_run, runs_in, unfinished
from pipeline.office.words import Word
from pipeline.problems import JobError
from pipeline.replace import replace
from pipeline.run.logged import Logged
from pipeline.run.run_log import NAME as LOG
from pipeline.run.run_log import beside
from pipeline.words import Role, Verdict, counted

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record

#: What reading a folder's notes and records may raise, whatever stands in them.
_UNREAD = (OSError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError)
#: So many things of one kind are told of a job.
_REMARKS_MAX = 8
_NEVER = "no issue yet: the job has not been run, or no run has succeeded; tiedown check reports what is wrong"


class RecordSeen(Struct, frozen=True):
    """What is kept of an issue's record: of a thousand jobs whole ones would need too much memory.

    ``totals`` are points, occupations of marks that pass and rows held back, in words; ``zone`` is the job's own clock.
    """

    job: str
    number: int
    verdict: str
    totals: str
    zone: str | None


class JobState(Struct, frozen=True):
    """How a job stands.

    ``needs`` is what needs somebody, each with its word, the gravest first; ``events`` what happened since the moment
    asked for, oldest first; ``running`` says who runs the job now, "" for nobody; ``remarks`` deserve a look at
    leisure. ``shown`` is the issue that `current` shows, ``newest`` the one that was made last, at ``made``.
    ``in_file`` is whether there is a file at the path; ``superseded`` says that `current` shows an older issue by hand.
    """

    path: Path
    name: str
    folder: Path | None
    needs: tuple[tuple[Word, str], ...] = ()
    events: tuple[str, ...] = ()
    running: str = ""
    remarks: tuple[str, ...] = ()
    shown: RecordSeen | None = None
    newest: RecordSeen | None = None
    waits: bool = False
    made: datetime | None = None
    last_run: Logged | None = None
    size: int = 0
    in_file: bool = True
    superseded: str = ""

    @property
    def word(self) -> Word:
        """Return the gravest word of what it needs."""
        return min((word for word, _ in self.needs), default=Word.GOOD)

    @property
    def order(self) -> tuple[int, int, str, str]:
        """Return what puts jobs in the order of their need of attention."""
        verdicts = [one.verdict for one in (self.shown, self.newest) if one is not None]
        urgency = max((URGENCY[Verdict(verdict)] for verdict in verdicts), default=0)
        return (int(self.word), -urgency, self.name, str(self.path))


def state(job: JobFile, since: datetime) -> JobState:
    """Return how a job stands; of one that cannot be read, why. It never raises for what a job or its folder holds.

    Args:
        job: its file.
        since: from when on what happened is told.
    """
    named = job.said.get("job")
    name = str(named.get("name") or job.path.stem) if isinstance(named, dict) else job.path.stem
    bare = JobState(job.path, name, None)
    if job.why:
        return replace(bare, needs=((Word.UNREADABLE, job.why),))
    try:
        folder = folder_in(job.said, job.path)
        if folder is None:
            return replace(bare, needs=((Word.UNREADABLE, "the job file names no folder for its issues"),))
        bare = replace(bare, folder=folder)
        if clashes := in_the_way(folder, Owner(name, job.path.absolute())):
            return replace(bare, needs=tuple((Word.NOT_TO_BE_RUN, what) for what, _ in clashes[:_REMARKS_MAX]))
        return _of(bare, folder, since)
    except JobError as error:
        return replace(bare, needs=tuple((Word.DAMAGED, str(one)) for one in error.problems[:_REMARKS_MAX]))
    except _UNREAD as error:
        what = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        return replace(bare, needs=((Word.UNREADABLE, f"the contents of its folder cannot be read: {what}"),))


def state_of_orphan(orphan: Orphan, since: datetime) -> JobState:
    """Return how issues stand that have no job file any more; it never raises for what their folder holds."""
    bare = JobState(orphan.path or orphan.folder, orphan.name, orphan.folder, in_file=orphan.there)
    if orphan.path is None:
        what = "there are issues here, and no job file is of them"
    else:
        what = "the job's file is not there any more" if not orphan.there else "this is no job file any more"
        what = f"{what}, and its issues still are, in {orphan.folder}"
    gone = (
        Word.NO_JOB_FILE,
        f"{what}: nothing runs it; restore the job file, or move its issues out of what is checked",
    )
    try:
        stands = _of(bare, orphan.folder, since)
    except (JobError, *_UNREAD):
        stands = bare
    return replace(stands, needs=(gone, *(need for need in stands.needs if need[0] is not Word.NEVER)))


def _of(bare: JobState, folder: Path, since: datetime) -> JobState:
    issues, held = (issued(folder), holding(folder)) if folder.is_dir() else (None, None)
    runs, unknown = _runs(bare.path, folder)
    running = f"being run now {held.told}" if held is not None and held.under_way else ""
    needs = [*_damaged(issues), *unknown, *last_ended(runs), *unfinished(folder, held, runs), *_issues(issues)]
    if not running:
        if issues is None or (issues.newest is None and not issues.damaged):
            needs.append((Word.NEVER, _NEVER))
        needs += _other_shown(issues)
    return replace(
        bare,
        needs=tuple(sorted(needs, key=lambda need: need[0])),
        events=tuple(events(issues, runs, since)),
        running=running,
        remarks=(*_by_hand(issues), *issues.remarks[:_REMARKS_MAX]) if issues is not None else (),
        superseded=next(_by_hand(issues), "") if issues is not None else "",
        shown=_seen(issues.shown) if issues is not None else None,
        newest=_seen(issues.newest) if issues is not None else None,
        waits=issues is not None and issues.waits,
        made=issues.made if issues is not None else None,
        last_run=last_run(runs),
        size=size_of(folder),
    )


def _runs(job: Path, folder: Path) -> tuple[list[Logged], list[tuple[Word, str]]]:
    """Return the runs of a job, oldest first, and what of them cannot be read.

    Beside the job file stand those that could not be logged among its issues: where there were none, or on a disk that
    nothing could be written to.
    """
    own, of_own = runs_in(folder / LOG)
    others, of_others = runs_in(beside(job))
    runs = sorted((*own, *others), key=lambda run: run.last) if own and others else own or others
    return runs, [*of_own, *of_others]


def _damaged(found: Issued | None) -> Iterator[tuple[Word, str]]:
    if found is not None:
        yield from ((Word.DAMAGED, what) for what in found.damaged[:_REMARKS_MAX])
        if len(found.damaged) > _REMARKS_MAX:
            yield Word.DAMAGED, f"and {len(found.damaged) - _REMARKS_MAX:,} more; tiedown verify lists all"


def _issues(found: Issued | None) -> Iterator[tuple[Word, str]]:
    """Yield what of the issue that is shown, and of the one that waits, needs attention."""
    if found is None or found.newest is None:
        return
    number, shown = found.newest["issue"], found.shown["issue"] if found.shown is not None else None
    if found.waits:
        yield Word.PENDING, f"issue {number:03d} waits to be released; {stays(found.newest, shown)}"
        yield from ((Word.PENDING, f"issue {number:03d}: {why}") for why in waits_for(found.newest, now=shown))
        yield Word.PENDING, f"to release it: {release_command(found.newest)}"
    standing = {record["issue"]: record for record in (found.shown, found.newest) if record is not None}
    for issue, record in sorted(standing.items()):
        told = attention(record)
        yield from ((Word.ATTENTION, f"issue {issue:03d}: {one.what}") for one in told[:_REMARKS_MAX])
        if len(told) > _REMARKS_MAX:
            yield Word.ATTENTION, f"issue {issue:03d}: and {len(told) - _REMARKS_MAX:,} more, in its report"


def _other_shown(found: Issued | None) -> Iterator[tuple[Word, str]]:
    """Yield that `current` shows none, or another issue than it is to show."""
    if found is None or found.newest is None:
        return
    if found.shown is None:
        if not found.waits or found.due is not None:
            yield Word.ATTENTION, "current shows no issue; run the job again"
    elif found.due is not None and found.shown["issue"] != found.due:
        told = f"current shows issue {found.shown['issue']:03d} instead of {found.due:03d}"
        yield Word.ATTENTION, f"{told}; run the job again to correct it"


def _by_hand(found: Issued) -> Iterator[str]:
    """Yield that `current` shows an older issue although the newest does not wait."""
    if found.newest is not None and found.shown is not None and not found.waits and found.due == found.shown["issue"]:
        shown, newest = found.shown["issue"], found.newest["issue"]
        if shown < newest:
            yield f"current shows issue {shown:03d}, and issue {newest:03d} is newer; tiedown history gives the reason"


def _seen(record: Record | None) -> RecordSeen | None:
    if record is None:
        return None
    judged = [one["passed"] for one in record["checks"] if one["passed"] is not None and one["role"] != Role.NOTED]
    checks = f"{sum(judged):,} of {counted(len(judged), 'occupation')} pass" if judged else "no occupation was compared"
    rows = record["rows"]
    totals = f"{counted(rows['points'], 'point')}, {checks}, {rows['held_back']:,} held back"
    return RecordSeen(record["job"], record["issue"], str(record["verdict"]), totals, record["local_clock"])
