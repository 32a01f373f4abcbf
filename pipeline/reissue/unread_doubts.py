"""Carries doubts of older records whose sentences cannot be parsed, until somebody confirms them."""

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.doubted_sessions import still_doubted
from pipeline.words import Doubt


def unread_doubts(newest: Record, survey: Survey) -> tuple[Doubtful, ...]:
    """Return the doubts that the newest issue has in words alone and took along itself, as they were worded.

    What it says of an occupation or a frame cannot be compared with the job, so that nothing shows whether it is
    answered: only the job file can.
    """
    doubts = [
        Doubtful(Doubt(doubt["kind"]), origin["what"], still_doubted(doubt, newest, survey), origin=origin)
        for doubt in newest["doubts"]
        if (origin := doubt["origin"]) is not None and origin["of"] == "words"
    ]
    return confirmed_by(survey.job, doubts)
