"""Collects the doubts that only the shifts can tell, from the modules that look for them."""

from collections.abc import Sequence

from pipeline.arrays import Floats
from pipeline.examine.datum_steps import stated_steps
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import shift_doubts
from pipeline.examine.other_bases import far_base_doubts
from pipeline.intake.survey import Survey
from pipeline.solve.adjusted_ties import Tied
from pipeline.solve.bend import bend_doubts
from pipeline.solve.carried_shifts import carried_shift_doubts
from pipeline.solve.changed_settings import setting_doubts
from pipeline.solve.compare import OnMarks, checked_sessions
from pipeline.solve.contradictions import contradiction_doubts
from pipeline.solve.copied_checks import copied_doubts
from pipeline.solve.copied_points import copied_point_doubts
from pipeline.solve.issued_apart import IssuedApart
from pipeline.solve.marks_of_readings import marks_of_readings_doubts
from pipeline.solve.moved_within import moved_within_doubts
from pipeline.solve.one_vector import OneVector, one_vector_doubts
from pipeline.solve.other_instruments import instrument_doubts
from pipeline.solve.repeats_off import repeats_off_doubts
from pipeline.solve.shift import Shifts
from pipeline.solve.unmoved_bases import unmoved_base_doubts


def by_shift_doubts(
    survey: Survey, tied: Tied, local: Floats, occupations: OnMarks, doubts: Sequence[Doubtful]
) -> list[Doubtful]:
    """Return the doubts that need the shifts: large ones, ties at odds, operations whose error no shift takes up.

    ``local`` (S, 3) are the shifts east, north, up; ``doubts`` those known before.
    """
    alone = tied.shifts.fully_tied & ~tied.shifts.by_control
    checked = checked_sessions(occupations, len(survey.windows))
    return [
        *shift_doubts(survey, local),
        *carried_shift_doubts(survey, local),
        *setting_doubts(survey, occupations, local),
        *instrument_doubts(survey, occupations, local),
        *far_base_doubts(survey, local, doubts),
        *bend_doubts(survey, local),
        *contradiction_doubts(survey, tied, occupations),
        *copied_doubts(survey, occupations),
        *marks_of_readings_doubts(survey, occupations),
        *moved_within_doubts(survey, occupations),
        *stated_steps(survey, alone, checked),
    ]


def other_session_doubts(
    survey: Survey, issued: IssuedApart, shifts: Shifts, vectors: Sequence[OneVector], occupations: OnMarks
) -> list[Doubtful]:
    """Return the doubts about readings that two have at one place before any shift, or apart by one vector."""
    copied = list(copied_point_doubts(survey, issued))
    told = _sessions(copied)
    unmoved = list(unmoved_base_doubts(survey, issued, shifts, told))
    told |= _sessions(unmoved)
    far = list(one_vector_doubts(survey, vectors, told))
    told |= _sessions(far)
    return [*copied, *unmoved, *far, *repeats_off_doubts(survey, issued, shifts, occupations, told)]


def _sessions(doubts: Sequence[Doubtful]) -> frozenset[tuple[int, ...]]:
    return frozenset(one.sessions for one in doubts if one.sessions is not None)
