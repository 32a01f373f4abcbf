"""What the log and the notes of a job say of its runs: which was the last, how it ended, and which never did."""

import time
from collections.abc import Iterator
from pathlib import Path

from pipeline.issue.folder.lock_holder import Holder
from pipeline.issue.folder.unnotified_issues import NAME as UNTOLD
from pipeline.issue.folder.unnotified_issues import read_unnotified
from pipeline.office.words import Word
from pipeline.run.logged import Logged, logged
from pipeline.words import counted

#: So many issues are told, and lines of what a run said.
_MOST, _LINES = 8, 4
#: Seconds in which a run that wrote an issue comes to its end.
_JUST_NOW = 60
#: Seconds beyond which nobody expects a run still to be under way: the longest take an hour.
_A_DAY = 86_400
#: The words of runs that gave no issue, as their lines in the log have them, and what is said of each.
ENDED = {"fault": Word.FAULT, "died": Word.DIED, "timed out": Word.TIMED_OUT, "refused": Word.REFUSED}
_SAID = {"fault": "met a fault in the program", "died": "died", "timed out": "timed out"}


def runs_in(log: Path) -> tuple[list[Logged], list[tuple[Word, str]]]:
    """Return the runs in a log, oldest first, and that nobody knows them where it cannot be read."""
    try:
        return logged(log), []
    except OSError as error:
        why = error.strerror or str(error)
        return [], [(Word.ATTENTION, f"how its last run ended is not known: {log} cannot be read: {why}")]


def last_ended(runs: list[Logged]) -> Iterator[tuple[Word, str]]:
    """Yield how the last run ended where it gave no issue; one that met another run says nothing of the job."""
    if (last := last_run(runs)) is not None and (word := ENDED.get(last.word)) is not None:
        yield word, f"the last run {ended(last)}"


def last_run(runs: list[Logged]) -> Logged | None:
    """Return the last run but those that met another one."""
    return next((run for run in reversed(runs) if run.word != "held"), None)


def ended(run: Logged) -> str:
    """Return how a run ended, in words: "was refused", "died" and the like, and the first of what it said."""
    what = _SAID.get(run.word, "was refused")
    said = run.lines[-_LINES:] if run.word == "fault" else run.lines[:_LINES]
    times = f" ({run.runs:,} runs alike)" if run.runs > 1 else ""
    return f"{what}{times}: " + "; ".join(line.strip() for line in said)


def unfinished(folder: Path, held: Holder | None, runs: list[Logged]) -> Iterator[tuple[Word, str]]:
    """Yield what runs left that did not come to their end, and that one has been under way for a day or may be still.

    A batch strikes an issue out when all its jobs are told; until then the log says that it lived to know of it.
    """
    if held is not None and held.under_way:
        if held.seconds > _A_DAY:
            what = f"a run {held.told} has been under way for {counted(int(held.seconds // _A_DAY), 'day')}"
            yield Word.ATTENTION, f"{what}, and no other can run the job: if that process hangs, end it"
        return
    if held is not None and held.under_way is None:
        look = f"only {held.host} can tell whether it still is: look there, and if it has ended run the job again"
        yield Word.ATTENTION, f"a run {held.told} has not come to its end; {look}"
    elif held is not None:
        yield Word.DIED, f"a run {held.told} did not finish; run the job again"
    known = {run.issue for run in runs if run.word == "issued"}
    left = [number for number in read_unnotified(folder) if number not in known]
    for number in left[:_MOST] if left and _is_old(folder / UNTOLD) else ():
        yield Word.DIED, f"issue {number:03d} was written by a run that did not finish; run the job again"


def _is_old(note: Path) -> bool:
    """Say whether a note was not written just now, by a run that is about to strike it out."""
    try:
        return time.time() - note.stat().st_mtime > _JUST_NOW
    except OSError:
        return False
