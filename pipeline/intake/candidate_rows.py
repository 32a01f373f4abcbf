"""Rows of candidates as dictionaries, and what is said of one that is held back."""

import pyarrow as pa

from pipeline.words import REASONS, Reason

TOLD = ["name", "session", "held", "detail", "time", "source_row", "export", "solution", "number", "base"]

#: What is told of a reading that may be an occupation, by column.
CandidateRow = dict[str, object]


def reason_of(row: CandidateRow) -> Reason:
    """Return why a row is held back."""
    return REASONS[int(str(row["held"])) - 1]


def detail_of(row: CandidateRow) -> str:
    """Return what is wrong with a row, the first of several faults: the row in the export has them all."""
    first, _, others = str(row["detail"] or "").partition("; ")
    more = others.count("; ") + 1
    return f": {first}{f' (and {more} more in that row)' if others else ''}" if first else ""


def milliseconds_of(time: object) -> int:
    """Return a time of a row as UTC milliseconds."""
    return int(pa.scalar(time, pa.timestamp("ms", tz="UTC")).value)
