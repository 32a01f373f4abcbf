"""Says which rows have names that a spreadsheet seems to have sorted without the rest of the row."""

from collections.abc import Iterator

from pipeline.intake.sorted_names import NamesInOrder
from pipeline.intake.survey import Survey
from pipeline.visible import one_line
from pipeline.words import counted


def sorted_name_notes(survey: Survey) -> Iterator[str]:
    """Yield in words which rows, in the order of their times, have names in the order of texts."""
    for one in survey.first_pass.found.of(NamesInOrder):
        export, between = survey.exports[one.export], f'"{one_line(one.before)}", then "{one_line(one.behind)}"'
        yield (
            f"{export.shown}:{one.first}: {counted(one.count, 'row')} in the order of their times (to row {one.last})"
            f" have names in the order of texts, not of their numbers ({between}), though the points were walked one"
            " after another, as where that column alone was sorted in a spreadsheet: the points then have the names of"
            " others; compare some of them with what the controller has, or export again"
        )
