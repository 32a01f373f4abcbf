"""Notes what was not yet reported because the run or command that did it did not finish; the next run reports it."""

from contextlib import suppress
from pathlib import Path

from pipeline.issue.folder import setting_aside
from pipeline.issue.folder.publish import issues, job_lock
from pipeline.issue.folder.unnotified_issues import read_unnotified, strike_out
from pipeline.issue.record import RecordError, read_record
from pipeline.problems import JobError, JobHeld
from pipeline.replace import replace
from pipeline.run.outcome import Outcome


def with_untold(outcome: Outcome, folder: Path) -> Outcome:
    """Return an outcome with the issues that earlier runs wrote, and one that a command set aside, untold."""
    if (moved := setting_aside.cut_short(folder)) is not None:
        outcome = replace(outcome, aside=(moved.issue, moved.kept))
    noted = set(read_unnotified(folder)) - ({outcome.record["issue"]} if outcome.issued else set())
    found = []
    for number, path in issues(folder) if noted else ():
        if number in noted:
            with suppress(RecordError, OSError):  # one that is damaged since is told by those who read it
                found.append(read_record(path))
    return replace(outcome, untold=tuple(found)) if found else outcome


def acknowledge(outcome: Outcome) -> None:
    """Note that somebody was told of an outcome and of the issues before that it tells of.

    Where another run holds the job by now, or the disk refuses, nothing is noted, and the next run tells it once more.
    """
    if outcome.folder is None or not (outcome.issued or outcome.untold or outcome.aside):
        return
    folder = outcome.folder.parent.parent
    with suppress(JobHeld, JobError, OSError), job_lock(folder):
        strike_out(folder, outcome.record["issue"])
        if outcome.aside:
            setting_aside.strike_out(folder)
