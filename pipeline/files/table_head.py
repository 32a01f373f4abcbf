"""The header of a table: which line names the columns, what they are called, and what around it is no row."""

from collections import Counter
from collections.abc import Collection, Sequence

from msgspec import Struct

from pipeline.files.odd_text import looks_like_data
from pipeline.files.printed_pages import NO_PAGES, Pages, is_heading, may_be_rows, pages_of
from pipeline.files.written_table import LINES_ABOVE_HEADER, Asked, Record, Written, by_place
from pipeline.near import plain


class Headed(Struct, frozen=True):
    """The columns of a table, the line that names them (0: none does), and the lines below it."""

    columns: tuple[str, ...]
    line: int
    body: list[Record]
    pages: Pages = NO_PAGES
    headings: tuple[str, ...] = ()


def headed_table(records: list[Record], asked: Asked) -> Headed | None:
    """Find the header of a table and check it; None where there is none, or nothing at all."""
    known, how = asked.known, asked.how
    if not records:
        asked.note(1, "this table is empty", "its first line names the columns")
        return None
    above = records_above(records, known, how)
    if above is None:
        asked.note(how.header or 0, "the line that header states is empty", "count lines from the top")
        return None
    line, header = records[above] if above >= 0 else (0, [""] * max(len(cells) for _, cells in records))
    columns = column_names(header, how.places if above >= 0 else range(1, len(header) + 1), known)
    named, body = [plain(name) for name in header] if above >= 0 else [], records[above + 1 :]
    _check_above(records[: max(above, 0)], body, named, line, asked)
    if how.header is None and not set(columns) & set(known) and looks_like_data(header):
        what = "the first line holds data, not column names: this table has no header"
        places = ", or state header = 0 and map its columns by number, such as mark = 1" if _takes_marks(known) else ""
        asked.note(line, what, f"write one above it, such as {', '.join(_in_order(known))}{places}")
        return None
    columns = _apart(columns, header) if asked.every else columns
    for name in sorted(name for name, count in Counter(columns).items() if name and count > 1):
        asked.note(line, f"the column '{name}' appears twice", "keep one of them")
    left_out = NO_PAGES
    if asked.how.pages and named:
        left_out = _left_out(records[: max(above, 0)], named, body, asked)
        body = [record for record in body if record[0] not in left_out.lines]
    _check_heading_again(body, named, line, asked, left_out.otherwise)
    return Headed(columns, line, body, left_out, tuple(header))


def column_names(header: Sequence[str], places: Collection[int], known: Collection[str]) -> tuple[str, ...]:
    """Return the names of columns: those of ``places``, and nameless ones that are ``known`` so, go by their numbers.

    A column has no name under a heading of several lines, or merged cells; an export's go by their numbers too.
    """
    names = [plain(name) for name in header]
    nameless = {at for at, name in enumerate(names, start=1) if not name and by_place(at) in {*known} - {*names}}
    return tuple(by_place(at) if at in places or at in nameless else name for at, name in enumerate(names, start=1))


def _apart(columns: tuple[str, ...], header: Sequence[str]) -> tuple[str, ...]:
    """Return names of columns, those that differ in nothing but their letters' case (h and H) as they are written."""
    twice = {name for name, count in Counter(columns).items() if name and count > 1}
    written = [" ".join(cell.split()) for cell in header]
    return tuple(there if name in twice else name for name, there in zip(columns, written, strict=True))


#: Columns of the tables that are read here, in the order in which they are usually written.
_USUAL = ("mark", "name", "start", "end", "base", "code", "easting", "northing", "height")


def _in_order(known: Collection[str]) -> list[str]:
    """Return the columns that a header is to have, the usual ones of a table first, in one order at any time."""
    usual = [name for name in _USUAL if name in known]
    return usual if len(usual) > 1 else sorted(known)


def _takes_marks(known: Collection[str]) -> bool:
    return "holds" in known or any(name.startswith("column_") for name in known)


def records_above(records: list[Record], known: Collection[str], how: Written) -> int | None:
    """Return how many records stand above the header: the one that names most of the known columns, or the first.

    The one that is stated where one is, -1 where none names the columns; None where that line is empty.
    """
    if how.header is not None:
        lines = [line for line, _ in records]
        return -1 if not how.header else lines.index(how.header) if how.header in lines else None
    counts = [len(set(known).intersection(map(plain, cells))) for _, cells in records[:LINES_ABOVE_HEADER]]
    return counts.index(max(counts))


def _check_above(above: list[Record], body: list[Record], header: list[str], line: int, asked: Asked) -> None:
    """Note lines above the header that may be rows by their cells, as rows must not be lost."""
    for row in may_be_rows(above, header, body):
        what = f"the column names are here, below lines that may be rows (line {row})"
        asked.note(line, what, "put the header first, and delete what is above it")
        return


def _left_out(above: list[Record], header: list[str], body: list[Record], asked: Asked) -> Pages:
    """Return what is no row below a header, as of a table that was printed; note titles that differ by the page."""
    found = pages_of(above, header, body)
    if found.differ is not None:
        line, first = found.differ
        what = f"this line between pages says something else than line {first}: the rows below may be of another system"
        asked.note(line, what, "write the rows of each system in a file of their own; delete this line if they are one")
    return found


def _check_heading_again(
    body: Sequence[Record], header: Sequence[str], line: int, asked: Asked, otherwise: int
) -> None:
    """Note a row that names half of the columns again, two at least, as where tables were put together.

    Likewise the one that is known to name columns ``otherwise`` than the header, 0 for none.
    """
    names = set(filter(None, header))
    for row, cells in body:
        found = [plain(cell) for cell in cells]
        again = len(names.intersection(found))
        if row != otherwise and (again < 2 or 2 * again < len(names)):
            continue
        if is_heading(cells, header):
            asked.note(row, "the column names are repeated here", "delete this line")
        else:
            what = f"the column names are repeated here and differ from those above (line {line}): the rows below have"
            what += " other columns"
            asked.note(row, what, "put the columns of all rows in the same order, below one heading")
        return
