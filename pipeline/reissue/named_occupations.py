"""The occupations of an issue whose readings can be found again: those with a name and a time."""

from collections.abc import Iterator

from msgspec import Struct

from pipeline.clock import milliseconds_of
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import CheckRow
from pipeline.words import Role


class NamedOccupation(Struct, frozen=True):
    """An occupation of an issue: the name of its reading, its time in UTC milliseconds, and its row in the record."""

    name: str
    time: int
    row: CheckRow


def named_occupations(record: Record) -> Iterator[NamedOccupation]:
    """Yield them; what was only noted in the field is none."""
    for row in record["checks"]:
        if row["role"] != Role.NOTED and row["point"] is not None and row["observed"] is not None:
            yield NamedOccupation(row["point"], milliseconds_of(row["observed"]), row)
