"""Says which rows have the height, or the place, of the row beside them, as after cells were moved in a spreadsheet."""

from collections.abc import Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.filled_down import CURE
from pipeline.intake.moved_cells import MovedCells
from pipeline.intake.survey import Survey
from pipeline.read.mapping import position_of
from pipeline.words import Doubt, counted


def moved_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt where heights, or both coordinates in plan, fit the ground far better moved back by one row."""
    for one in survey.first_pass.moved:
        kind = Doubt.PLACE if one.plan else Doubt.EXPORT_HEIGHTS
        what = f"{_sentence(survey, one)}; {CURE}"
        yield Doubtful(kind, what, one.sessions, survey.exports[one.export].shown, one.trace)


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
