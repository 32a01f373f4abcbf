"""Says which coordinates never have one of the ten digits, as where a spreadsheet replaced it throughout a column."""

from collections.abc import Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.missing_digits import MissingDigits
from pipeline.intake.survey import Survey
from pipeline.read.mapping import position_of
from pipeline.words import Doubt, counted


def missing_digit_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each coordinate of an export in which a digit is missing: no chance makes that."""
    for one in survey.first_pass.found.of(MissingDigits):
        export = survey.exports[one.export]
        called = position_of(export.points.columns).words[one.axis]
        rows = f" from this row to row {one.last}," if not one.whole else ""
        deleted = ", or deleted," if one.instead == 0 else ""
        what = (
            f"no digit {one.digit} is in the last {one.places} decimals of the column of the {called},{rows} in"
            f" {counted(one.count, 'different number')}, and {one.instead} is there about twice as often as any other"
            f" digit, as where {one.digit} was replaced by {one.instead}{deleted} throughout in a spreadsheet, so many"
            f" of these points have another {called} than was measured: export again"
        )
        kind = Doubt.EXPORT_HEIGHTS if one.axis == 2 else Doubt.PLACE
        yield Doubtful(kind, what, one.sessions, export.shown, 0 if one.whole else one.first)
