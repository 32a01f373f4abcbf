"""What the issues before put in doubt and leave to be noted: asked of a job's readings, then of its shifts."""

from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.examine import Examined
from pipeline.intake.survey import Survey
from pipeline.reissue.changed_readings import changed_readings
from pipeline.reissue.fingerprint import Fingerprint, fingerprint
from pipeline.reissue.frames.carried import standing_doubts
from pipeline.reissue.frames.notes import frame_notes
from pipeline.reissue.history import History
from pipeline.reissue.left_unmoved import left_unmoved_notes
from pipeline.reissue.moved_register import moved_register
from pipeline.reissue.occupations_before import Asked, occupations_before
from pipeline.reissue.own_marks import own_marks
from pipeline.reissue.returned import of_sessions, unread_notes
from pipeline.reissue.revision_undone import undone_notes
from pipeline.reissue.shortened import shortened
from pipeline.reissue.silenced_since import silenced_notes
from pipeline.reissue.unjudged import asked_since, unjudged_doubts
from pipeline.reissue.unread_doubts import unread_doubts
from pipeline.reissue.vanished import gone_checks
from pipeline.replace import replace
from pipeline.solve.solve import Adjusted, Solved, derive, judge


class Remembered(Struct, frozen=True):
    """Doubts that only the issues before show, and notes in words."""

    doubts: tuple[Doubtful, ...] = ()
    notes: tuple[str, ...] = ()


class Judged(Struct, frozen=True):
    """A job judged once all doubts are known, what it is made from, and the notes that only the issues before show."""

    solved: Solved
    now: Fingerprint
    notes: tuple[str, ...]


def judge_since(examined: Examined, history: History) -> Judged:
    """Adjust a job, gather all doubts, those that only the issues before show among them, and judge it once."""
    survey = examined.survey
    asked = occupations_before(history, survey)
    readings = of_readings(asked, history, survey)
    adjusted = derive(survey, (*examined.doubts, *readings.doubts))
    adjusted = since_before(asked, survey, adjusted)
    now = fingerprint(survey, adjusted)
    shifts = of_shifts(asked, history, survey, adjusted, now)
    return Judged(judge(survey, adjusted, shifts.doubts), now, (*readings.notes, *shifts.notes))


def of_readings(asked: Asked | None, history: History, survey: Survey) -> Remembered:
    """Return what the newest issue had of occupations and the job has not any more.

    What it has in doubt in words alone, of an earlier version, is in doubt still.
    """
    if asked is None:
        return Remembered()
    doubts, notes = gone_checks(asked.newest, survey)
    again = [doubt for before, back in asked.returned for doubt in of_sessions(gone_checks(before, survey)[0], back)]
    unread = unread_doubts(asked.newest.record, survey)
    cut = shortened(asked.newest, history, survey)
    return Remembered((*unread, *doubts, *again, *cut), (*notes, *unread_notes(history, survey)))


def since_before(asked: Asked | None, survey: Survey, adjusted: Adjusted) -> Adjusted:
    """Return an adjusted job whose doubts of readings that were in doubt before, or failed, know since when."""
    if asked is None:
        return adjusted
    return replace(adjusted, doubts=asked_since(asked.newest, survey, adjusted.doubts))


def of_shifts(
    asked: Asked | None, history: History, survey: Survey, adjusted: Adjusted, now: Fingerprint
) -> Remembered:
    """Return what was read otherwise or is judged no more since the newest issue, and what other frames put in doubt.

    Args:
        asked: the occupations that the issues before had.
        history: the issues before.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
        now: what it is made from.
    """
    if asked is None:
        return Remembered()
    changed, of_changed = changed_readings(history, survey, adjusted)
    last = history.drawn_from
    if last is None:
        return Remembered(changed, of_changed)
    unjudged, notes = unjudged_doubts(asked.newest, survey, adjusted)
    for before, back in asked.returned:
        again, _ = unjudged_doubts(before, survey, adjusted)
        unjudged = (*unjudged, *of_sessions(again, back))
    of_frames = standing_doubts(asked.newest.record, history.record, survey, adjusted, now)
    if not of_frames:
        notes += frame_notes(last.record, survey, adjusted, now)
    of_register, told = moved_register(history, survey, now.register)
    of_own, noted = own_marks(history, survey, adjusted)
    told += (*undone_notes(history, survey, now.register), *left_unmoved_notes(history, survey, now.register))
    silenced = silenced_notes(asked.newest.record, survey, adjusted.doubts)
    return Remembered(
        (*changed, *unjudged, *of_frames, *of_register, *of_own), (*of_changed, *notes, *told, *noted, *silenced)
    )
