"""The state of one job, as an office wants to know it: what needs somebody, what changed lately, the quiet facts."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.issue.attention import attention
from pipeline.issue.folder.belongs import Owner, in_the_way
from pipeline.issue.folder.holder import holding
from pipeline.issue.folder.issues_list import RELEASED, Entry
from pipeline.issue.folder.issues_list import SET_ASIDE as ASIDE
from pipeline.issue.folder.untold import NAME as UNTOLD
from pipeline.issue.folder.untold import untold
from pipeline.issue.release import by_hand, stays, waits_for
from pipeline.issue.report.meanings import URGENCY
from pipeline.job.named_folder import folder_in
from pipeline.office.find import JobFile
from pipeline.office.standing import Issued, issued, size_of
from pipeline.problems import JobError
from pipeline.run.logged import Logged, logged
from pipeline.run.run_log import NAME as LOG
from pipeline.run.run_log import beside
from pipeline.words import FIRST_ISSUE, Change, Role, Verdict, counted

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record

#: So many things of one kind are told of a job, and lines of what a run said.
_MOST, _LINES = 8, 4
#: Seconds in which a run that wrote an issue comes to its end.
_JUST_NOW = 60


class Word(IntEnum):
    """What becomes of a job in a word, the gravest first; `GOOD` needs nobody."""

    UNREADABLE = 0
    DAMAGED = 1
    FAULT = 2
    DIED = 3
    TIMED_OUT = 4
    REFUSED = 5
    PENDING = 6
    ATTENTION = 7
    NEVER = 8
    GOOD = 9


WORDS = {
    Word.UNREADABLE: "cannot be read",
    Word.DAMAGED: "damaged",
    Word.FAULT: "fault",
    Word.DIED: "died",
    Word.TIMED_OUT: "timed out",
    Word.REFUSED: "refused",
    Word.PENDING: "pending",
    Word.ATTENTION: "needs attention",
    Word.NEVER: "never issued",
    Word.GOOD: "good",
}
#: The same by the word that a run's line in the log has.
_ENDED = {"fault": Word.FAULT, "died": Word.DIED, "timed out": Word.TIMED_OUT, "refused": Word.REFUSED}

_NEVER = "it has no issue yet: it was never run, or no run of it came so far; tiedown check says what is wrong"
_SAID = {"fault": "met a fault in the program", "died": "died", "timed out": "timed out"}


@dataclass(frozen=True)
class Seen:
    """What is kept of an issue's record: of a thousand jobs whole ones would need too much memory.

    ``totals`` are points, occupations of marks that pass and rows held back, in words; ``zone`` is the job's own clock.
    """

    job: str
    number: int
    verdict: str
    totals: str
    zone: str | None


@dataclass(frozen=True)
class State:
    """How a job stands.

    ``needs`` is what needs somebody, each with its word, the gravest first; ``events`` what happened since the moment
    asked for, oldest first; ``running`` says who runs the job now, "" for nobody; ``remarks`` deserve a look at
    leisure. ``shown`` is the issue that `current` shows, ``newest`` the one that was made last, at ``made``.
    """

    path: Path
    name: str
    folder: Path | None
    needs: tuple[tuple[Word, str], ...] = ()
    events: tuple[str, ...] = ()
    running: str = ""
    remarks: tuple[str, ...] = ()
    shown: Seen | None = None
    newest: Seen | None = None
    waits: bool = False
    made: datetime | None = None
    last_run: Logged | None = None
    size: int = 0

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


def state(job: JobFile, since: datetime) -> State:
    """Return how a job stands; of one that cannot be read, why. It never raises for what a job or its folder holds.

    Args:
        job: its file.
        since: from when on what happened is told.
    """
    named = job.said.get("job")
    name = str(named.get("name") or job.path.stem) if isinstance(named, dict) else job.path.stem
    bare = State(job.path, name, None)
    if job.why:
        return replace(bare, needs=((Word.UNREADABLE, job.why),))
    try:
        folder = folder_in(job.said, job.path)
        if folder is None:
            return replace(bare, needs=((Word.UNREADABLE, "the job file names no folder for its issues"),))
        bare = replace(bare, folder=folder)
        if clashes := in_the_way(folder, Owner(name, job.path.absolute())):
            return replace(bare, needs=tuple((Word.UNREADABLE, what) for what, _ in clashes[:_MOST]))
        return _of(bare, folder, since)
    except JobError as error:
        return replace(bare, needs=tuple((Word.DAMAGED, str(one)) for one in error.problems[:_MOST]))
    except (OSError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError) as error:
        what = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        return replace(bare, needs=((Word.UNREADABLE, f"what lies in its folder cannot be read: {what}"),))


def _of(bare: State, folder: Path, since: datetime) -> State:
    if not folder.is_dir():
        runs, found, held = _runs(beside(bare.path)), None, None
    else:
        runs, found, held = _runs(folder / LOG), issued(folder), holding(folder)
        runs = runs or _runs(beside(bare.path))
    running = f"being run now {held[0]}" if held is not None and held[1] else ""
    needs = [*_damaged(found), *_last_run(runs), *_unfinished(folder, held, runs), *_issues(found)]
    if not running and (found is None or found.newest is None) and (found is None or not found.damaged):
        needs.append((Word.NEVER, _NEVER))
    if not running and found is not None and found.newest is not None and found.shown is None and not found.waits:
        needs.append((Word.ATTENTION, "current shows no issue; run the job again"))
    return replace(
        bare,
        needs=tuple(sorted(needs, key=lambda need: need[0])),
        events=tuple(_events(found, runs, since)),
        running=running,
        remarks=(*_by_hand(found), *found.remarks[:_MOST]) if found is not None else (),
        shown=_seen(found.shown) if found is not None else None,
        newest=_seen(found.newest) if found is not None else None,
        waits=found is not None and found.waits,
        made=found.made if found is not None else None,
        last_run=_last(runs),
        size=size_of(folder),
    )


def _runs(log: Path) -> list[Logged]:
    try:
        return logged(log)
    except OSError:  # a log is never the reason that something fails
        return []


def _damaged(found: Issued | None) -> Iterator[tuple[Word, str]]:
    if found is not None:
        yield from ((Word.DAMAGED, what) for what in found.damaged[:_MOST])
        if len(found.damaged) > _MOST:
            yield Word.DAMAGED, f"and {len(found.damaged) - _MOST:,} more; tiedown verify tells all"


def _last_run(runs: list[Logged]) -> Iterator[tuple[Word, str]]:
    """Yield how the last run ended where it gave no issue; one that met another run says nothing of the job."""
    if (last := _last(runs)) is not None and (word := _ENDED.get(last.word)) is not None:
        yield word, f"the last run {_ended(last)}"


def _last(runs: list[Logged]) -> Logged | None:
    """Return the last run but those that met another one."""
    return next((run for run in reversed(runs) if run.word != "held"), None)


def _ended(run: Logged) -> str:
    """Return how a run ended, in words: "was refused", "died" and the like, and the first of what it said."""
    what = _SAID.get(run.word, "was refused")
    said = run.lines[-_LINES:] if run.word == "fault" else run.lines[:_LINES]
    times = f" ({run.runs:,} runs alike)" if run.runs > 1 else ""
    return f"{what}{times}: " + "; ".join(line.strip() for line in said)


def _unfinished(folder: Path, held: tuple[str, bool] | None, runs: list[Logged]) -> Iterator[tuple[Word, str]]:
    """Yield what runs left that did not come to their end, where none is under way.

    A batch strikes an issue out when all its jobs are told; until then the log says that it lived to know of it.
    """
    if held is not None and held[1]:
        return
    if held is not None:
        yield Word.DIED, f"a run {held[0]} did not come to its end; run the job again"
    known = {run.issue for run in runs if run.word == "issued"}
    left = [number for number in untold(folder) if number not in known]
    for number in left[:_MOST] if left and _is_old(folder / UNTOLD) else ():
        yield Word.DIED, f"issue {number:03d} was written by a run that did not come to its end; run the job again"


def _is_old(note: Path) -> bool:
    """Say whether a note was not written just now, by a run that is about to strike it out."""
    try:
        return time.time() - note.stat().st_mtime > _JUST_NOW
    except OSError:
        return False


def _issues(found: Issued | None) -> Iterator[tuple[Word, str]]:
    """Yield what of the issue that is shown, and of the one that waits, needs attention."""
    if found is None or found.newest is None:
        return
    number = found.newest["issue"]
    if found.waits:
        yield Word.PENDING, f"issue {number:03d} waits to be released; {stays(found.newest)}"
        yield from ((Word.PENDING, f"issue {number:03d}: {why}") for why in waits_for(found.newest))
        yield Word.PENDING, f"to release it: {by_hand(found.newest)}"
    standing = {record["issue"]: record for record in (found.shown, found.newest) if record is not None}
    for issue, record in sorted(standing.items()):
        told = attention(record)
        yield from ((Word.ATTENTION, f"issue {issue:03d}: {one.what}") for one in told[:_MOST])
        if len(told) > _MOST:
            yield Word.ATTENTION, f"issue {issue:03d}: and {len(told) - _MOST:,} more, in its report"


def _by_hand(found: Issued) -> Iterator[str]:
    """Yield that `current` shows an older issue although the newest does not wait."""
    if found.newest is not None and found.shown is not None and not found.waits:
        shown, newest = found.shown["issue"], found.newest["issue"]
        if shown < newest:
            yield f"current shows issue {shown:03d}, and issue {newest:03d} is newer; tiedown history says why"


def _events(found: Issued | None, runs: list[Logged], since: datetime) -> Iterator[str]:
    """Yield what happened since a moment, oldest first: issues, releases, issues set aside, runs that gave none."""
    told = [(line.made_at, _line(line, found)) for line in (found.lines if found else ()) if line.made_at >= since]
    last = _last(runs)  # which is told already
    earlier = (run for run in runs if run.word in _ENDED and run is not last)
    told += [(run.last, f"a run {_ended(run)}") for run in earlier if run.last >= since]
    listed = {line.issue for line in found.lines} if found else set()
    if found and found.newest and found.made and found.made >= since and found.newest["issue"] not in listed:
        told.append((found.made, _line(Entry(found.newest["issue"], found.made, found.newest["verdict"], ""), found)))
    yield from (f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC: {what}" for at, what in sorted(told))


def _line(line: Entry, found: Issued | None) -> str:
    """Return a line of the issues list in words."""
    issue = f"issue {line.issue:03d}"
    why = f": {line.because}" if line.because else ""
    if line.verdict == RELEASED:
        return f"{issue} released by hand{why}"
    if line.verdict == ASIDE:
        return f"{issue} set aside{why}"
    return f"{issue} made, verdict {line.verdict}{_changed(line.issue, found)}{why or f': {FIRST_ISSUE}'}"


def _changed(number: int, found: Issued | None) -> str:
    """Return how many points an issue changed, where its record is at hand."""
    for record in (found.newest, found.shown) if found is not None else ():
        if record is not None and record["issue"] == number and record["changes"] is not None:
            counts = {str(change): record["changes"].get(str(change)) for change in Change}
            told = [f"{count:,} {word}" for word, count in counts.items() if isinstance(count, int) and count]
            return f" ({', '.join(told)})" if told else ""
    return ""


def _seen(record: Record | None) -> Seen | None:
    if record is None:
        return None
    judged = [one["passed"] for one in record["checks"] if one["passed"] is not None and one["role"] != Role.NOTED]
    checks = f"{sum(judged):,} of {counted(len(judged), 'occupation')} pass" if judged else "no occupation was compared"
    rows = record["rows"]
    totals = f"{counted(rows['points'], 'point')}, {checks}, {rows['held_back']:,} held back"
    return Seen(record["job"], record["issue"], str(record["verdict"]), totals, record["local_clock"])
