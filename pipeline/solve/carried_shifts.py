"""Doubts readings amid a session that carry its shift already, or another session's, as no mark among them shows.

A correction worked out in the field and left on for a while, between one check and the next: those readings get the
session's shift a second time. Where two bases transmit at once a rover may take the other one's corrections while its
controller goes on writing the id that was typed: those readings get the wrong session's shift. On flat ground their
heights step by it, there and back.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.implausible import OffNear, SteppedRows
from pipeline.intake.survey import Survey
from pipeline.visible import one_line
from pipeline.words import Doubt, counted

#: Metres by which a step may miss the shift for it to be no chance: a base that averaged its position is off in height
#: by some metres, so that of forty bridges and pits of a metre and more one is as high. Ours, no source.
_SURE = 0.10
#: The part of a shift up to which a step may miss it: ground that rises by as much hides it. Ours, no source.
_HIDDEN = 0.5
#: The part of a shift that a step may be off it at the most, however rough the ground: banks in hills step by
#: something, and a third more or less is no match. Ours, no source.
_NEAR = 0.15


def carried_shift_doubts(survey: Survey, local: Floats) -> Iterator[Doubtful]:
    """Yield a doubt for each run whose heights are above those before and after by just what its session's shift adds.

    ``local`` is (S, 3) each session's shift east, north and up [m]. Field shifts of a session say why theirs are.
    """
    for one in _carried(survey, local):
        if _is_sure(local, one):
            shown = survey.exports[one.export].shown
            yield Doubtful(Doubt.SHIFT, _sentence(survey, local, one), (one.session,), shown, one.row)


def carried_shift_notes(survey: Survey, local: Floats) -> Iterator[str]:
    """Yield in words those by about what it adds, as far as the ground lets that be known, and by other bases' shifts.

    Kerbs and walls step by as much as two bases differ more often than by a shift: that is told, and in no doubt. So is
    what is off all points around by a step of which none of these says why.
    """
    carried = list(_carried(survey, local))
    told = list(carried)
    for one in carried:
        if not _is_sure(local, one):
            yield f"{survey.exports[one.export].shown}:{one.row}: {_sentence(survey, local, one)}"
    for one in survey.first_pass.implausible.stepped:
        if one not in carried and not _is_stated(survey, one):
            other = _other_base(survey, local, one)
            if other is not None:
                told.append(one)
                yield f"{survey.exports[one.export].shown}:{one.row}: {_of_other_base(survey, local, one, other)}"
    for off in survey.first_pass.implausible.off_near:
        if not any(one.export == off.export and one.row <= off.last and one.last >= off.row for one in told):
            yield f"{survey.exports[off.export].shown}:{off.row}: {_off_near(survey, off)}"


def _carried(survey: Survey, local: Floats) -> Iterator[SteppedRows]:
    for one in survey.first_pass.implausible.stepped:
        up = float(local[one.session, 2])
        if not one.run.known and _fits(one, up) and not _is_stated(survey, one):
            yield one


def _fits(one: SteppedRows, up: float) -> bool:
    """Tell whether a run is as far above those before and after as ``up`` [m], which is NaN where nothing ties it."""
    off = abs(one.run.up - up)
    return off <= one.run.miss <= _HIDDEN * abs(up) and off <= max(_SURE, _NEAR * abs(up))


def _is_stated(survey: Survey, one: SteppedRows) -> bool:
    """Tell whether a field shift of the session says why; one of another rover, or another time, does not.

    Of one that only readings with some base id carry it is taken for granted that these have it.
    """
    first, last = one.times
    return any(
        stated.session == one.session
        and (stated.exports is None or one.export in stated.exports)
        and first < stated.last
        and last >= stated.first
        for stated in survey.prepared.field_windows
    )


def _other_base(survey: Survey, local: Floats, one: SteppedRows) -> int | None:
    """Return the session whose base these readings were computed with, as it seems, while theirs had its own."""
    first, last = one.times
    others = [
        window.index
        for window in survey.windows
        if window.index != one.session and window.start_ms <= first and last < window.end_ms
    ]
    steps = [float(local[one.session, 2] - local[other, 2]) for other in others]
    fitting = [(abs(one.run.up - up), other) for up, other in zip(steps, others, strict=True) if _fits(one, up)]
    return min(fitting)[1] if fitting else None


def _is_sure(local: Floats, one: SteppedRows) -> bool:
    return one.run.level and abs(one.run.up - float(local[one.session, 2])) <= _SURE


def _of_other_base(survey: Survey, local: Floats, one: SteppedRows, other: int) -> str:
    mine, theirs = (one_line(survey.windows[number].session.name) for number in (one.session, other))
    off = local[one.session] - local[other]
    return (
        f"session {mine}: {counted(len(one.run.rows), 'reading')} in a row (first one here, the last in row {one.last})"
        f" are {one.run.up:+.2f} m off those beside them in height, as much as the shift of session {mine} adds more"
        f" than that of session {theirs}, which runs at the same time ({off[2]:+.2f} m up), and no mark was occupied"
        f" among them: if the ground has no such step there, the rover had corrections of the base of {theirs},"
        f" whatever base id it wrote, and they are off by {np.hypot(off[0], off[1]):.2f} m in plan and"
        f" {abs(off[2]):.2f} m in height: ask the crew, and give these rows the id of the base that they had"
    )


def _off_near(survey: Survey, off: OffNear) -> str:
    by, away = off.run.up, off.run.away
    return (
        f"session {survey.windows[off.session].session.name}: {counted(len(off.run.rows), 'reading')} in a row (first"
        f" one here, the last in row {off.last}) are all about {by:+.2f} m off the points around them in height"
        f" ({counted(off.run.pairs, 'pair')} of neighbours, half of them within {away:.1f} m), though they begin and"
        " end amid these, all others agree with one another, and no mark was occupied among them: if the ground has no"
        f" such step there, the pole was {'longer' if by > 0 else 'shorter'} than stated, another correction was on,"
        " or the base was moved and put back: ask the crew, and correct their pole heights, state it as field_shift, or"
        " split the session"
    )


def _sentence(survey: Survey, local: Floats, one: SteppedRows) -> str:
    return (
        f"session {survey.windows[one.session].session.name}: {counted(len(one.run.rows), 'reading')} in a row (first"
        f" one here, the last in row {one.last}) are {one.run.up:+.2f} m off those before and after in height, as much"
        f" as the session's shift adds ({local[one.session, 2]:+.2f} m up), and no mark was occupied among them: if the"
        " ground has no such step there, a correction of the field was switched on for them, and they are off by the"
        " whole shift: ask the crew, and state it as field_shift"
    )
