"""Notes sessions left open over a night, with points that no occupation of a mark lies on the same side of.

A base that was packed away and set up again has another error; its session's shift is that of the day with the marks.
"""

from collections.abc import Iterator

from pipeline.clock import HOUR, stamp
from pipeline.intake.long_breaks import LongBreak
from pipeline.intake.survey import Survey
from pipeline.solve.solve import Solved
from pipeline.words import counted, plural


def overnight_notes(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield what hangs on a base having stood through a break after, or before, all occupations that tell of it.

    Nothing does in a session without a base of its own (a network's), and one without an occupation is unproven anyhow.
    """
    for window, evidence in zip(survey.windows, solved.evidence, strict=True):
        if window.session.shift == "none" or not len(evidence.times):
            continue
        first, last = int(evidence.times[0]), int(evidence.times[-1])
        breaks = [one for one in survey.first_pass.long_breaks if one.session == window.index]
        after = [one for one in breaks if one.since >= last and one.after]
        before = [one for one in breaks if one.until <= first and one.before]
        if after:
            yield _said(window.session.name, after[0], "after", after[0].after)
        if before:
            yield _said(window.session.name, before[-1], "before", before[-1].before)


def _said(name: str, one: LongBreak, side: str, points: int) -> str:
    hours = (one.until - one.since) / HOUR
    return (
        f"session {name}: no reading for {hours:.1f} h, and no mark was occupied {side} that: the base must have stood"
        f" untouched from {stamp(one.since)} to {stamp(one.until)} UTC; {counted(points, 'point')} {side} that"
        f" {plural(points, 'hangs', 'hang')} on it; if the base was set up again, end the session there and give the"
        " other part a session of its own, with ties and checks"
    )
