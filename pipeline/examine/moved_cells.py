"""Says which rows have the height, or the place, of the row beside them, as after cells were moved in a spreadsheet."""

from collections.abc import Iterator

from pipeline.examine.computed import OnTheMarks
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.filled_down import CURE
from pipeline.intake.moved_cells import MovedCells, MovedColumns
from pipeline.intake.survey import Survey
from pipeline.read.mapping import position_of
from pipeline.words import Doubt, counted

#: Rows from which it is sure: fewer may be a wrong height or two among ground as even as a plane. Ours, no source.
_SURE = 10


def moved_doubts(survey: Survey, on_marks: OnTheMarks) -> Iterator[Doubtful]:
    """Yield a doubt where heights, or both coordinates in plan, fit the ground far better moved back by one row.

    Not where readings on marks show that coordinates were computed: their ground may be of any kind.
    """
    for one in survey.first_pass.found.of(MovedColumns):
        if sessions := _in_doubt(on_marks, one):
            kind = Doubt.PLACE if one.plan else Doubt.EXPORT_HEIGHTS
            what = f"{_sentence(survey, one)}; {CURE}"
            yield Doubtful(kind, what, sessions, survey.exports[one.export].shown, one.trace)


def moved_notes(survey: Survey, on_marks: OnTheMarks) -> Iterator[str]:
    """Yield the others in words."""
    moved = survey.first_pass.found.of(MovedColumns)
    for one in moved:
        if not _in_doubt(on_marks, one):
            yield f"{survey.exports[one.export].shown}:{one.trace}: {_sentence(survey, one)}; {CURE}"


def _in_doubt(on_marks: OnTheMarks, one: MovedCells) -> tuple[int, ...]:
    """Return the sessions, of those that such rows are in, whose points are in doubt."""
    return on_marks.measured(one.sessions) if one.count >= _SURE else ()


def _sentence(survey: Survey, one: MovedCells) -> str:
    first, second, _ = position_of(survey.exports[one.export].points.columns).words
    called = f"{first} and {second}" if one.plan else "height"
    trace = f"this row has no {called} but all else" if one.blank else f"this row and the next have one {called}"
    side, beside = ("behind", "above") if one.down else ("before", "below")
    return (
        f"{trace}, and {counted(one.count, 'row')} {side} it, or so, seem to have the {called} of the row {beside}:"
        " moved back by a row, their heights fit the ground far better, as where a cell of that column was inserted or"
        " deleted in a spreadsheet"
    )
