"""Says which rows have numbers of one coordinate that seem to have been pasted over others of its column."""

from collections.abc import Iterator

from pipeline.examine.computed import OnTheMarks
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.pasted_cells import Pasted, PastedCells
from pipeline.intake.survey import Survey
from pipeline.read.columns import lengths_of
from pipeline.read.mapping import position_of
from pipeline.words import Doubt, counted

#: Rows in a row from which no chance makes them, of degrees, and of eastings and northings, of which some may have been
#: laid out; heights recur by design. Ours, no source.
_SURE_DEGREES, _SURE_LENGTHS = 4, 8
_CURE = "one of the two is wrong. Compare both with what the controller has, or export again"


def pasted_doubts(survey: Survey, on_marks: OnTheMarks) -> Iterator[Doubtful]:
    """Yield a doubt for each run of rows that has the longitudes or latitudes, eastings or northings, of another.

    Not where readings on marks show that coordinates were computed: rows may then lie as somebody chose.
    """
    for one in survey.first_pass.found.of(PastedCells):
        if sessions := _in_doubt(survey, on_marks, one):
            yield Doubtful(
                Doubt.PLACE, _sentence(survey, one), sessions, survey.exports[one.export].shown, one.second[0]
            )


def pasted_notes(survey: Survey, on_marks: OnTheMarks) -> Iterator[str]:
    """Yield the others in words."""
    pasted = survey.first_pass.found.of(PastedCells)
    for one in pasted:
        if not _in_doubt(survey, on_marks, one):
            yield f"{survey.exports[one.export].shown}:{one.second[0]}: {_sentence(survey, one)}"


def _in_doubt(survey: Survey, on_marks: OnTheMarks, one: Pasted) -> tuple[int, ...]:
    """Return the sessions, of those that such rows are in, whose points are in doubt."""
    degrees = lengths_of(survey.exports[one.export].points).degrees
    if one.axis == 2 or one.count < (_SURE_DEGREES if degrees else _SURE_LENGTHS):
        return ()
    return on_marks.measured(one.sessions)


def _sentence(survey: Survey, one: Pasted) -> str:
    called = f"{position_of(survey.exports[one.export].points.columns).words[one.axis]}s"
    return (
        f"{counted(one.count, 'row')} in a row (to row {one.second[1]}) have the"
        f" {called} of rows {one.first[0]} to {one.first[1]}, in the same order and to the last digit, while the"
        f" points lie elsewhere, as where a spreadsheet pasted cells of that column over others: {_CURE}"
    )
