"""Finds exports that end within a row, as half-written or half-copied ones do: what followed is in no issue.

Which rows are missing nobody can tell. Among them may be the check that would have failed, so what the file's sessions
have is no proof until the file is whole, or somebody says that it is.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.words import Doubt

_WHAT = (
    "the file ends within this row, as one does that was written or copied only in part: the rows that followed are"
    " missing, and so are their points and checks; export or copy the file again"
)


def cut_off_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export that ends within a row; in doubt are the sessions of its readings."""
    return list(_found(survey))


def _found(survey: Survey) -> Iterator[Doubtful]:
    for number, line in sorted(survey.first_pass.cut_off.items()):
        sessions = tuple(np.flatnonzero(survey.first_pass.files[number].sessions).tolist())
        yield Doubtful(Doubt.CUT_OFF, _WHAT, sessions, survey.exports[number].shown, line)
