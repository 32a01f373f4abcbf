"""Finds exports that seem to end within a row, as half-written or half-copied ones do: what followed is in no issue.

Whether rows are missing, and which, nobody can tell. Among them may be the check that would have failed, so what the
file's sessions have is no proof until the file is whole, or somebody says that it is.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.words import Doubt

_WHAT = (
    "the file seems to end within this row ({why}), as one does that was written or copied only in part: rows may be"
    " missing behind it, and with them points and checks; export or copy the file again"
)


def cut_off_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each export that ends within a row; in doubt are the sessions of its readings."""
    for number, row in sorted(survey.first_pass.cut_off.items()):
        sessions = tuple(np.flatnonzero(survey.first_pass.files[number].sessions).tolist())
        yield Doubtful(Doubt.CUT_OFF, _WHAT.format(why=row.why), sessions, survey.exports[number].shown, row.line)
