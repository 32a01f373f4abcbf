"""Says which rows have a coordinate that a spreadsheet seems to have sorted without the rest of the row."""

from collections.abc import Iterator

from pipeline.intake.sorted_columns import SortedColumns, SortedRows
from pipeline.intake.survey import Survey
from pipeline.read.mapping import position_of
from pipeline.words import counted


def sorted_notes(survey: Survey) -> Iterator[str]:
    """Yield in words which rows have one coordinate in ascending or descending order that the others do not follow."""
    for one in survey.first_pass.found.of(SortedColumns):
        yield f"{survey.exports[one.export].shown}:{one.first}: {_sentence(survey, one)}"


def _sentence(survey: Survey, one: SortedRows) -> str:
    names = position_of(survey.exports[one.export].points.columns).words
    called, way = names[one.axis], "rise" if one.rises else "fall"
    rows = f"{counted(one.count, 'row')} in the order of their times (to row {one.last})"
    if one.axis == 2:
        what = (
            f"{rows} {way} in height from each to the next, by {one.own:.3f} m as a rule, while"
            f" {counted(one.close, 'point')} of them, which somebody passed again at another time closer than one row"
            f" is to the next, differ in height there by {one.other:.2f} m as a rule"
        )
    else:
        what = (
            f"{rows} {way} in {called} from each to the next, over {one.own:.0f} m in steps of any size, while the"
            f" {names[1 - one.axis]} goes to and fro over {one.other:.0f} m"
        )
    return (
        f"{what}, as where that column alone was sorted in a spreadsheet: the points then have the {called} of others;"
        " compare some of them with what the controller has, or export again"
    )
