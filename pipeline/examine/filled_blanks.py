"""Says in which rows blanks of one coordinate seem to have been filled from above."""

from collections.abc import Iterator

from pipeline.examine.computed import OnTheMarks
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.filled_down import CURE
from pipeline.intake.filled_blanks import Blanked, FilledBlanks
from pipeline.intake.survey import Survey
from pipeline.read.columns import lengths_of
from pipeline.read.mapping import position_of
from pipeline.words import Doubt, counted

#: Metres that a last digit of degrees is worth, and rows with the number of the one before, from which it is no chance:
#: of eastings and northings some may have been laid out. Ours, no source.
_SURE = ((2e-4, 4), (1.5e-3, 8))


def blank_doubts(survey: Survey, on_marks: OnTheMarks) -> Iterator[Doubtful]:
    """Yield a doubt for each stretch of rows that have the longitude or latitude of the row before.

    Not where readings on marks show that coordinates were computed: rows may then lie as somebody chose.
    """
    for one in survey.first_pass.found.of(FilledBlanks):
        if sessions := _in_doubt(survey, on_marks, one):
            what = f"{_sentence(survey, one)}, so these points may be far from where they are; {CURE}"
            yield Doubtful(Doubt.PLACE, what, sessions, survey.exports[one.export].shown, one.first)


def blank_notes(survey: Survey, on_marks: OnTheMarks) -> Iterator[str]:
    """Yield in words which other rows have a coordinate or height of the row before.

    Not heights of which a whole session has one: `flat_heights` looks at those.
    """
    blanks = survey.first_pass.found.of(FilledBlanks)
    for one in blanks:
        extent = survey.first_pass.files[one.export].extent
        flat = one.axis == 2 and all(extent.low[each, 2] == extent.high[each, 2] for each in one.sessions)
        if not flat and not _in_doubt(survey, on_marks, one):
            yield f"{survey.exports[one.export].shown}:{one.first}: {_sentence(survey, one)}; {CURE}"


def _in_doubt(survey: Survey, on_marks: OnTheMarks, one: Blanked) -> tuple[int, ...]:
    """Return the sessions, of those that such rows are in, whose points are in doubt."""
    degrees = one.axis < 2 and lengths_of(survey.exports[one.export].points).degrees
    if not degrees or not any(one.digit <= digit and one.count >= rows for digit, rows in _SURE):
        return ()
    return on_marks.measured(one.sessions)


def _sentence(survey: Survey, one: Blanked) -> str:
    called = position_of(survey.exports[one.export].points.columns).words[one.axis]
    how = "a spreadsheet copied a cell down its column" if one.one else "blanks of a column were filled from above"
    return (
        f"{one.count} of {counted(one.rows, 'row')} in a row (to row {one.last}) have the {called} of the row before to"
        f" the last digit while the points lie elsewhere, as where {how}"
    )
