"""Says which sessions have a stated shift that no mark tests."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.examine.stood_on import Stood
from pipeline.intake.survey import Survey
from pipeline.job.model import GivenShift
from pipeline.words import counted


def untested_shift_notes(survey: Survey, stood: Stood | None) -> Iterator[str]:
    """Yield sessions with points whose shift is stated, and that occupied no mark: nothing shows that it is right.

    Such a shift is often that of another day, and the base was set up anew since.
    """
    points = np.sum([log.sessions for log in survey.first_pass.files], axis=0)
    for window in survey.windows:
        session = window.session
        occupied = stood is not None and bool((stood.session == window.index).any())
        if not isinstance(session.shift, GivenShift) or occupied or session.setup or not points[window.index]:
            continue
        file, line = window.where
        yield (
            f"{Path(file).name}:{line}: session {session.name}: its shift is stated, and no mark was occupied that"
            f" would show whether it is right, so its {counted(int(points[window.index]), 'reading')}"
            " cannot be proven: occupy a mark and write it as a check, or say where the shift comes from to whoever"
            " uses the points"
        )
