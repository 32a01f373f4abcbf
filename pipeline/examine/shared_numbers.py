"""Says which rows have the latitude, longitude or height of other rows that lie elsewhere."""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.computed import OnTheMarks
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.filled_down import CURE
from pipeline.intake.shared_numbers import Shared, SharedNumbers
from pipeline.intake.survey import Survey
from pipeline.read.columns import lengths_of
from pipeline.read.mapping import position_of
from pipeline.words import Doubt, counted

#: Metres that a last digit is worth, rows, and the logarithm of chance, from which degrees in common are no chance: of
#: eastings and northings some may have been laid out. Ours, no source.
_SURE = (2e-4, 5, float(np.log(1e-8)))


def shared_doubts(survey: Survey, on_marks: OnTheMarks) -> Iterator[Doubtful]:
    """Yield a doubt for each export with longitudes or latitudes that several rows have of others.

    Not where readings on marks show that coordinates were computed: rows may then lie as somebody chose.
    """
    for one in survey.first_pass.found.of(SharedNumbers):
        if sessions := _in_doubt(survey, on_marks, one):
            what = f"{_sentence(survey, one)}, so these points may be far from where they are; {CURE}"
            yield Doubtful(Doubt.PLACE, what, sessions, survey.exports[one.export].shown, one.row)


def shared_notes(survey: Survey, on_marks: OnTheMarks) -> Iterator[str]:
    """Yield in words which other rows have a coordinate or height of rows that lie elsewhere."""
    shared = survey.first_pass.found.of(SharedNumbers)
    for one in shared:
        if not _in_doubt(survey, on_marks, one):
            yield f"{survey.exports[one.export].shown}:{one.row}: {_sentence(survey, one)}; {CURE}"


def _in_doubt(survey: Survey, on_marks: OnTheMarks, one: Shared) -> tuple[int, ...]:
    """Return the sessions, of those that such rows are in, whose points are in doubt."""
    digit, rows, log = _SURE
    degrees = one.axis < 2 and lengths_of(survey.exports[one.export].points).degrees
    if not degrees or one.digit > digit or one.count < rows or one.log > log:
        return ()
    return on_marks.measured(one.sessions)


def _sentence(survey: Survey, one: Shared) -> str:
    called = position_of(survey.exports[one.export].points.columns).words[one.axis]
    return (
        f"{counted(one.count, 'row')} (first one here) have, to the last digit, the {called} of another row that lies"
        f" elsewhere (here that of row {one.other}), far more often than chance has it, as where a table was joined by"
        " a wrong key, or blanks were filled from above or by the mean"
    )
