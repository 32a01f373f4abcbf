"""Finds the sessions that a doubt of an earlier issue concerns: all but those that existed then and were not in it."""

from pipeline.intake.survey import Survey
from pipeline.issue.record_types import DoubtNoted, Record


def still_doubted(doubt: DoubtNoted, newest: Record, survey: Survey) -> tuple[int, ...] | None:
    """Return the sessions, None for all; one that came since, or has another name, is among them.

    Args:
        doubt: as the newest issue has it.
        newest: the record of that issue.
        survey: the job.
    """
    spared = {row["session"] for row in newest["sessions"]} - set(doubt["sessions"])
    reached = tuple(window.index for window in survey.windows if window.session.name not in spared)
    return reached if spared else None
