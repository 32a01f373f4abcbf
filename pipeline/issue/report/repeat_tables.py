"""Tables points measured twice."""

from pipeline.issue.record_types import Record
from pipeline.issue.report.row_choice import choose
from pipeline.issue.report.tables import Column, Table, difference_columns, name, table, time
from pipeline.issue.row_types import RepeatRow

#: Rows that the page has at the most.
_PAIRS = 100


def repeat_table(record: Record, package: str) -> Table | None:
    """Return the table of the pairs that do not agree; None where all do."""
    failing = record["repeats"]["failing"]
    if not failing:
        return None
    columns: list[Column[RepeatRow]] = [
        name("Point", "name", names=True),
        name("Earlier in", "session_a"),
        time("Observed", "observed_a"),
        name("Later in", "session_b"),
        time("Observed", "observed_b"),
        *difference_columns(),
    ]
    caption = "Pairs of readings that do not agree, later minus earlier, metres, with what is expected; times in UTC."
    chosen = choose(failing, lambda row: 1, most=_PAIRS)
    return table(caption, columns, chosen, f"the layer repeats of {package}")
