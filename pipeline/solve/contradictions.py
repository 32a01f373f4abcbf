"""Ties that contradict each other over temporary marks, on which no register says who is right."""

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.solve.adjusted_ties import Tied
from pipeline.solve.compare import OnMarks
from pipeline.words import Doubt, plural

#: Below this a component's redundancy is the arithmetic's.
_NOTHING = 1e-6


def contradiction_doubts(survey: Survey, tied: Tied, occupations: OnMarks) -> list[Doubtful]:
    """Return a doubt for the sessions of those ties on temporary marks that do not agree with the others.

    A mistake spreads over all ties of a loop. What is left of it in one is set right for the share that the others took
    (v / sqrt(r): Baarda's standardised residual, in metres), and counts where it is beyond the tolerance of a check, so
    that uncertainties which are stated too small alarm nobody, and beyond what they explain.
    """
    rows = np.flatnonzero(occupations.ties & occupations.temporary & (occupations.observation >= 0))
    if not len(rows):
        return []
    adjusted, of_rows = tied.shifts.adjustment, occupations.observation[rows]
    # a component that nothing else determines takes any mistake without a word: no residual, no redundancy
    share = np.where(adjusted.redundancy[of_rows] > _NOTHING, adjusted.redundancy[of_rows], np.inf)
    left = np.nan_to_num(np.abs(adjusted.residuals[of_rows]) / np.sqrt(share))
    limit = survey.job.checks
    beyond = np.column_stack([np.hypot(left[:, 0], left[:, 1]) > limit.horizontal, left[:, 2] > limit.vertical])
    unlikely = np.abs(adjusted.standardised[of_rows]) > adjusted.critical
    wrong = (beyond[:, 0] & unlikely[:, :2].any(axis=1)) | (beyond[:, 1] & unlikely[:, 2])
    if not wrong.any():
        return []
    sessions = tuple(np.unique(occupations.session[rows[wrong]]).tolist())
    points = occupations.table.column("name").to_pylist()
    told = listed(f"{points[row]} on {occupations.marks[row]}" for row in rows[wrong].tolist())
    # what one reading alone would have to be off by: its residual, undone of the share that the others took
    off = left[wrong] / np.sqrt(share[wrong])
    plan, height = np.hypot(off[:, 0], off[:, 1]).max(), off[:, 2].max()
    depend = plural(len(sessions), "the session depends", "the sessions depend")
    what = (
        f"ties contradict each other over temporary marks ({told}): a single bad reading (wrong mark, wrong pole"
        f" height, or taken while the base moved), about {plan:.3f} m off in plan and {height:.3f} m in height, would"
        f" explain it. The data do not show which one, and {depend} on all of them"
    )
    return [Doubtful(Doubt.SHIFT, what, sessions)]
