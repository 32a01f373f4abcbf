"""Says which rows have numbers of one coordinate that seem to have been pasted over others of its column."""

from collections.abc import Iterator

from pipeline.intake.survey import Survey
from pipeline.read.mapping import position_of
from pipeline.words import counted


def pasted_notes(survey: Survey) -> Iterator[str]:
    """Yield such rows in words."""
    for one in survey.first_pass.pasted:
        export = survey.exports[one.export]
        called = f"{position_of(export.points.columns).words[one.axis]}s"
        yield (
            f"{export.shown}:{one.second[0]}: {counted(one.count, 'row')} in a row (to row {one.second[1]}) have the"
            f" {called} of rows {one.first[0]} to {one.first[1]}, in the same order and to the last digit, while the"
            " points lie elsewhere, as where a spreadsheet pasted cells of that column over others: one of the two is"
            " wrong. Compare both with what the controller has, or export again"
        )
