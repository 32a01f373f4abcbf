"""Ties and bases over marks that the operations do not reach: they tie nothing, and the job cannot be computed."""

import numpy as np

from pipeline.intake.coverage import why_candidate_outside
from pipeline.intake.survey import Survey
from pipeline.problems import Problems

_FIX = "tie on a mark that it reaches, or state a CRS, grid or geoid that reaches there"


def report_uncovered(survey: Survey, problems: Problems) -> None:
    """Report every tie, and every base that is set up over a mark, whose position has no coordinates."""
    for row in (row for row, _ in survey.candidates.ties() if not np.isfinite(survey.candidates.raw[row]).all()):
        window, point = survey.windows[survey.candidates.session[row]], survey.candidates.names[row]
        job_file, at = next(window.where_tie(n) for n, tie in enumerate(window.session.ties) if tie.point == point)
        file, line = survey.read_at(row)
        what = f'tie of session {window.session.name} on the point "{point}" ({file}:{line}) is outside coverage'
        problems.add(job_file, at, f"{what}: {why_candidate_outside(survey, row)}", _FIX)
    for window in survey.windows:
        if window.session.setup is not None and not np.isfinite(survey.bases.mark[window.index]).all():
            what = f"the base of session {window.session.name} over {window.session.setup.mark} is outside coverage"
            problems.add(*window.where, f"{what}: no coordinates at the position that `setup` states", _FIX)
