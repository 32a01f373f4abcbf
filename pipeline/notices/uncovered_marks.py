"""Warns of occupations that the grid does not reach: they have no row among the marks, and prove nothing."""

from collections.abc import Iterator

import numpy as np

from pipeline.intake.candidates import coded_checks
from pipeline.intake.coverage import why_candidate_outside
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.solve.solve import Solved
from pipeline.words import Reason, Role, counted

#: Readings of a check's code that a sentence lists.
_LISTED = 3


def uncovered_notes(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield in words which listed occupations, and which readings of a check's code, have no coordinates, and why."""
    candidates = survey.candidates
    tied = solved.shifts.fully_tied[candidates.session]  # nothing of an untied session has coordinates
    lost = np.flatnonzero(tied & ~np.isfinite(solved.at).all(axis=1)).tolist()
    for row in lost:
        if (said := candidates.named[row]) is None:
            continue
        of = f"the {said.role} of session {survey.windows[candidates.session[row]].session.name} on the point"
        proves = "gives the shift, but no difference on its mark" if said.role is Role.TIE else "proves nothing"
        yield f"{of} {_reading(survey, row)} {proves}: it is held back as {_why(survey, row)}"
    coded = coded_checks(candidates.table, survey.prepared)
    others = [row for row in lost if candidates.named[row] is None and coded[row].as_py()]
    if others:
        listed = "; ".join(f"{_reading(survey, row)} as {_why(survey, row)}" for row in others[:_LISTED])
        some = counted(len(others), "reading of a check's code proves", "readings of a check's code prove")
        yield f"{some} nothing, being held back: {listed}{and_more(len(others) - _LISTED, '; ')}"


def _reading(survey: Survey, row: int) -> str:
    """Return a candidate by its name, file and row."""
    file, line = survey.read_at(row)
    return f"{survey.candidates.names[row] or 'a reading'} ({file}:{line})"


def _why(survey: Survey, row: int) -> str:
    """Return the reason for which a candidate is held back, and what does not reach it."""
    return f"{Reason.OUTSIDE_COVERAGE}: {why_candidate_outside(survey, row)}"
