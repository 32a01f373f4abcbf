"""Says which rows have a time that seems to have been copied down its column, and what proves them."""

from collections.abc import Iterator

from pipeline.clock import stamp
from pipeline.intake.survey import Survey
from pipeline.words import counted


def copied_time_notes(survey: Survey) -> Iterator[str]:
    """Yield such rows in words."""
    for one in survey.first_pass.copied_times:
        yield (
            f"{survey.exports[one.export].shown}:{one.rows[0]}: {counted(one.count, 'row')} in a row (to row"
            f" {one.rows[1]}) have the time {stamp(one.time)} UTC, but the points lie up to {one.reach:,.0f} m apart,"
            " as where a spreadsheet copied a cell down the column of times. When they were observed is not known: they"
            " count as proven only where the rows before and behind them in the file do, and all between these. Compare"
            " the times with those that the controller has, or export again"
        )
