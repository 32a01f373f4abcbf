"""What the issues before put in doubt and leave to be noted: asked of a job's readings, then of its shifts."""

from dataclasses import dataclass, replace

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.frame_carried import standing_doubts
from pipeline.reissue.frame_notes import frame_notes
from pipeline.reissue.history import History
from pipeline.reissue.returned import of_sessions, returned, unread_notes
from pipeline.reissue.unjudged import asked_since, unjudged_doubts
from pipeline.reissue.unread_doubts import unread_doubts
from pipeline.reissue.vanished import gone_checks
from pipeline.solve.solve import Adjusted


@dataclass(frozen=True)
class Remembered:
    """Doubts that only the issues before show, and notes in words."""

    doubts: tuple[Doubtful, ...] = ()
    notes: tuple[str, ...] = ()


def of_readings(history: History, survey: Survey) -> Remembered:
    """Return what the newest issue had of occupations and the job has not any more.

    What it has in doubt in words alone, of an earlier version, is in doubt still.
    """
    if history.newest is None:
        return Remembered()
    newest = history.newest.record
    doubts, notes = gone_checks(newest, survey, history.issue)
    again = [
        doubt
        for record, back in returned(history, survey)
        for doubt in of_sessions(gone_checks(record, survey, history.issue)[0], back)
    ]
    return Remembered((*unread_doubts(newest, survey), *doubts, *again), (*notes, *unread_notes(history, survey)))


def since_before(history: History, survey: Survey, adjusted: Adjusted) -> Adjusted:
    """Return an adjusted job whose doubts of readings that were in doubt before, or failed, know since when."""
    if history.newest is None:
        return adjusted
    return replace(adjusted, doubts=asked_since(history.newest.record, survey, adjusted.doubts, history.issue))


def of_shifts(history: History, survey: Survey, adjusted: Adjusted, now: Fingerprint) -> Remembered:
    """Return what failed in the newest issue and is judged no more, and what frames that differ put in doubt.

    Args:
        history: the issues before.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
        now: what it is made from.
    """
    newest, last = history.newest, history.drawn_from
    if newest is None or last is None:
        return Remembered()
    unjudged, notes = unjudged_doubts(newest.record, survey, adjusted, history.issue)
    for record, back in returned(history, survey):
        again, _ = unjudged_doubts(record, survey, adjusted, history.issue)
        unjudged = (*unjudged, *of_sessions(again, back))
    of_frames = standing_doubts(newest.record, history.record, survey, adjusted, now)
    if not of_frames:
        notes += frame_notes(last.record, survey, adjusted, now)
    return Remembered((*unjudged, *of_frames), tuple(notes))
