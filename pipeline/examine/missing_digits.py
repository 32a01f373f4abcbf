"""Says which coordinates never have one of the ten digits, as where a spreadsheet replaced it throughout a column."""

from collections.abc import Iterator

from pipeline.intake.survey import Survey
from pipeline.read.mapping import position_of
from pipeline.words import counted


def missing_digit_notes(survey: Survey) -> Iterator[str]:
    """Yield a sentence for each coordinate of an export in which a digit is missing."""
    for one in survey.first_pass.missing_digits:
        export = survey.exports[one.export]
        called = position_of(export.points.columns).words[one.axis]
        where = f":{one.first}" if not one.whole else ""
        rows = f" from this row to row {one.last}," if not one.whole else ""
        deleted = ", or deleted," if one.instead == 0 else ""
        yield (
            f"{export.shown}{where}: no digit {one.digit} is in the last {one.places} decimals of the column of the"
            f" {called},{rows} in {counted(one.count, 'different number')}, and {one.instead} is there about twice as"
            f" often as any other digit, as where {one.digit} was replaced by {one.instead}{deleted} throughout in a"
            " spreadsheet: export again"
        )
