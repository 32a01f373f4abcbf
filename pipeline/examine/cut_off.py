"""Finds exports that seem to end within a row, or to have lost some, as half-written or half-copied ones do.

Whether rows are missing, and which, nobody can tell. Among them may be the check that would have failed, so what the
file's sessions have is no proof until the file is whole, or somebody says that it is.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.words import Doubt

_ENDS = (
    "the file seems to end within this row ({why}), as one does that was written or copied only in part: rows may be"
    " missing behind it, and with them points and checks; export or copy the file again"
)
_GAP = (
    "{why}, as a card, a disk or a copy that failed leaves them: rows are missing here, and with them points and"
    " checks; export or copy the file again"
)


def cut_off_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each export that ends within a row or lost some; in doubt are the sessions of its readings."""
    for number, row in sorted(survey.first_pass.cut_off.items()):
        sessions = tuple(np.flatnonzero(survey.first_pass.files[number].sessions).tolist())
        what = (_GAP if row.gap else _ENDS).format(why=row.why)
        yield Doubtful(Doubt.CUT_OFF, what, sessions, survey.exports[number].shown, row.line)
