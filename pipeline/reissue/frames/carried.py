"""Carries a frame doubt forward whose earlier issue is gone or damaged, until its key is changed back.

The previous issue is what shows such a fault. Without it the doubt that the newest issue records is all that is left.
"""

from collections.abc import Callable

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import FrameChange
from pipeline.issue.record_types import DoubtNoted, Record
from pipeline.reissue.doubted_sessions import still_doubted
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.frames.differences import as_it_is, subject
from pipeline.reissue.frames.doubts import frame_doubt, frame_doubts
from pipeline.reissue.frames.frame_changes import frame_changes, now_by_step
from pipeline.solve.solve import Adjusted
from pipeline.words import Doubt


def standing_doubts(
    newest: Record, record_of: Callable[[int], Record | None], survey: Survey, adjusted: Adjusted, now: Fingerprint
) -> tuple[Doubtful, ...]:
    """Return the doubts that frames bring against the issues before, those that the newest one had among them.

    Args:
        newest: the record of the newest issue.
        record_of: the record of an issue by its number, None where it cannot be read.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
        now: what it is made from.
    """
    newest = _with_control(newest, record_of, survey)
    noted = [
        (doubt, origin)
        for doubt in newest["doubts"]
        if (origin := doubt["origin"]) is not None and origin["of"] == "frame" and not doubt["confirmed"]
    ]
    if not noted:
        return frame_doubts(newest, survey, adjusted, now)
    bases = {number: record_of(number) for number in {origin["since"] for _, origin in noted}}
    lost = [(doubt, origin) for doubt, origin in noted if bases[origin["since"]] is None]
    told = {subject(one) for _, origin in lost for one in origin["differences"]}
    carried = [found for doubt, origin in lost if (found := _carried(doubt, origin, newest, survey)) is not None]
    doubts = list(confirmed_by(survey.job, carried))
    for base in [record for record in bases.values() if record is not None] or [newest]:
        # what is taken back differs from the newest issue too
        changes = frame_changes(base, survey, now.sums)
        if not lost or not {subject(one) for one in (*changes.control, *changes.files)} <= told:
            doubts += frame_doubts(base, survey, adjusted, now)
    return tuple(doubts)


def _with_control(newest: Record, record_of: Callable[[int], Record | None], survey: Survey) -> Record:
    """Return the newest issue that had a register where the job has one: of one without it nobody can tell."""
    if newest["control"] is not None or survey.register is None:
        return newest
    earlier = (record_of(number) for number in range(newest["issue"] - 1, 0, -1))
    return next((record for record in earlier if record is not None and record["control"] is not None), newest)


def _carried(doubt: DoubtNoted, origin: FrameChange, newest: Record, survey: Survey) -> Doubtful | None:
    """Return a doubt as it stands now, None where all that it came of is as it was."""
    control, steps = control_used(survey.job), now_by_step(survey)
    differences = [now for one in origin["differences"] if (now := as_it_is(one, control, steps)) is not None]
    if not differences:
        return None
    stands = FrameChange(of="frame", since=origin["since"], moved=origin["moved"], differences=differences)
    return frame_doubt(Doubt(doubt["kind"]), stands, still_doubted(doubt, newest, survey), survey, lost=True)
