"""The report's tables: rows of the record made into cells of text, the noteworthy ones first."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Generic, TypeVar

from msgspec import Struct

from pipeline.issue.report.number_format import NONE, count, local, metres, minute, moment, signed
from pipeline.issue.report.row_choice import Chosen

Row = Mapping[str, Any]
Of = TypeVar("Of", contravariant=True)
One = TypeVar("One")

#: A name so long at the most stays in one line; a longer one may break anywhere.
_SHORT = 14
#: The words of the lists that are shown as bad ones.
_BAD = frozenset({"failed", "untied"})


class Column(Struct, Generic[Of], frozen=True):
    """One column: its head, the class of its cells, what makes a cell's text of a row, and whether that names the row.

    ``strong`` says of a row whether its cell is shown as a bad one.
    """

    head: str
    kind: str
    text: Callable[[Of], str]
    names: bool = False
    strong: Callable[[Of], bool] | None = None

    def cell(self, row: Of) -> tuple[str, str]:
        """Return the text of a row's cell and its class."""
        text = self.text(row)
        kind = ("id" if len(text) <= _SHORT else "long") if self.kind == "id" else self.kind
        bad = self.strong(row) if self.strong else self.kind == "word" and text in _BAD
        return text, f"{kind} bad" if bad else kind


class Table(Struct, frozen=True):
    """A table as the template lays it out: ``first`` and ``rest`` are rows of cells, each with a note below or none.

    ``where`` says what has the rows that are left out.
    """

    caption: str
    columns: Sequence[Column[Any]]
    first: Sequence[tuple[Sequence[tuple[str, str]], str]]
    rest: Sequence[tuple[Sequence[tuple[str, str]], str]]
    left_out: int
    total: int
    where: str


def table(
    caption: str,
    columns: Sequence[Column[One]],
    chosen: Chosen[One],
    where: str,
    note: Callable[[One], str] | None = None,
) -> Table:
    """Return the table of the chosen rows; ``note`` gives what stands below a row across all columns, if anything."""

    def made(rows: Sequence[One]) -> list[tuple[list[tuple[str, str]], str]]:
        return [([column.cell(row) for column in columns], note(row) if note else "") for row in rows]

    return Table(caption, columns, made(chosen.first), made(chosen.rest), chosen.left_out, chosen.total, where)


def name(head: str, key: str, names: bool = False) -> Column[Row]:
    """Return a column of names."""
    return Column(head, "id", lambda row: NONE if row[key] is None else str(row[key]), names)


def words(head: str, key: str, names: bool = False) -> Column[Row]:
    """Return a column of text, in which the bad words of the closed lists stand out."""
    return Column(head, "word", lambda row: NONE if row[key] is None else str(row[key]), names)


def length(head: str, key: str, decimals: int = 3) -> Column[Row]:
    """Return a column of metres."""
    return Column(head, "n", lambda row: metres(row[key], decimals))


def difference(head: str, key: str) -> Column[Row]:
    """Return a column of metres with their signs."""
    return Column(head, "n", lambda row: signed(row[key]))


def difference_columns() -> tuple[Column[Row], ...]:
    """Return the columns of a difference of two positions, and of its 95 % uncertainties."""
    return (
        difference("East", "d_east"),
        difference("North", "d_north"),
        length("Horiz.", "d_horizontal"),
        difference("Height", "d_height"),
        length("95\u00a0%\u00a0h", "hu95"),
        length("95\u00a0%\u00a0v", "vu95"),
    )


def position_columns() -> tuple[Column[Row], ...]:
    """Return the columns of a position as issued."""
    return length("Easting", "easting"), length("Northing", "northing"), length("Height", "height")


def number(head: str, key: str) -> Column[Row]:
    """Return a column of counts."""
    return Column(head, "n", lambda row: count(row[key]))


def time(head: str, key: str, seconds: bool = True, zone: str | None = None) -> Column[Row]:
    """Return a column of times; with a ``zone`` the time on its clock stands below."""

    def text(row: Row) -> str:
        utc = (moment if seconds else minute)(row[key])
        return utc if zone is None or row[key] is None else f"{utc}\n{local(row[key], zone)}"

    return Column(head, "time" if zone is None else "time two-clocks", text)


def clocks(zone: str | None) -> str:
    """Return in words of what clock the times of a table are."""
    return "times in UTC" if zone is None else f"times in UTC, below them local time ({zone})"


def checksum(head: str, key: str) -> Column[Row]:
    """Return a column of checksums."""
    return Column(head, "sha", lambda row: str(row[key]))
