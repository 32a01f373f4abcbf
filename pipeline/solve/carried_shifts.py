"""Doubts readings amid a session that seem to carry its shift already, as no mark among them shows.

A correction worked out in the field and left on for a while, between one check and the next: those readings get the
session's shift a second time. On flat ground their heights step by it, there and back.
"""

from collections.abc import Iterator

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.implausible import SteppedRows
from pipeline.intake.survey import Survey
from pipeline.words import Doubt, counted

#: Metres by which a step may miss the shift for it to be no chance: a base that averaged its position is off in height
#: by some metres, so that of forty bridges and pits of a metre and more one is as high. Ours, no source.
_SURE = 0.10


def carried_shift_doubts(survey: Survey, local: Floats) -> Iterator[Doubtful]:
    """Yield a doubt for each run whose heights are above those before and after by just what its session's shift adds.

    ``local`` is (S, 3) each session's shift east, north and up [m]. Field shifts of a session say why theirs are.
    """
    for one in _carried(survey, local):
        if _missed(local, one) <= _SURE:
            shown = survey.exports[one.export].shown
            yield Doubtful(Doubt.SHIFT, _sentence(survey, local, one), (one.session,), shown, one.row)


def carried_shift_notes(survey: Survey, local: Floats) -> Iterator[str]:
    """Yield in words those by about what it adds, as far as the ground lets that be known."""
    for one in _carried(survey, local):
        if _missed(local, one) > _SURE:
            yield f"{survey.exports[one.export].shown}:{one.row}: {_sentence(survey, local, one)}"


def _carried(survey: Survey, local: Floats) -> Iterator[SteppedRows]:
    for one in survey.first_pass.implausible.stepped:
        stated = survey.windows[one.session].session.field_shifts
        if not stated and _missed(local, one) <= one.run.miss:  # NaN where nothing ties it
            yield one


def _missed(local: Floats, one: SteppedRows) -> float:
    return abs(one.run.up - float(local[one.session, 2]))


def _sentence(survey: Survey, local: Floats, one: SteppedRows) -> str:
    return (
        f"session {survey.windows[one.session].session.name}: {counted(len(one.run.rows), 'reading')} in a row (first"
        f" one here, the last in row {one.last}) are {one.run.up:+.2f} m off those before and after in height, as much"
        f" as the session's shift adds ({local[one.session, 2]:+.2f} m up), and no mark was occupied among them: if the"
        " ground has no such step there, a correction of the field was switched on for them, and they are off by the"
        " whole shift: ask the crew, and state it as field_shift"
    )
