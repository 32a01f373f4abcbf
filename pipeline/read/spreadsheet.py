"""A sheet of a spreadsheet as batches of columns: values as they are stored, a fault on the row of an odd cell."""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.digest import Signature, signature
from pipeline.files.regular_files import read_whole
from pipeline.files.workbook import CellError, HiddenSheet, SheetRows, as_text, may_be_read, read_workbook
from pipeline.files.workbook_parts import BrokenWorkbook
from pipeline.job.model import Points
from pipeline.limits import TABLE
from pipeline.read.findings import Unusable
from pipeline.read.header import by_place, names_of
from pipeline.read.mapping import fitted, mapped, mapped_by_name, spelling
from pipeline.read.mixed_columns import column_of, column_type
from pipeline.read.raw_batch import Raw

#: Rows among which the header is looked for.
_MOST_ABOVE = 200

Row = tuple[int, tuple[object, ...]]


class OpenSheet(Struct, frozen=True):
    """A sheet that is open: the block with the names of its columns as they are there, the header's row, the columns.

    ``batches`` are its rows, to be read once; ``above`` those above the header, a comma between their cells.
    """

    points: Points
    header_line: int
    schema: pa.Schema
    batches: Iterator[Raw]
    above: tuple[str, ...] = ()


class HiddenRows(Struct, frozen=True):
    """How many rows that may be readings a sheet does not show, and which is the first."""

    count: int
    row: int


def open_sheet(path: Path, points: Points, rows_per_batch: int) -> OpenSheet:
    """Open the sheet that the block means. Raises `Unusable` where it cannot be read."""
    sheet = _opened(path, points)
    header_line, names, rows = _taken_apart(sheet, points)
    points = fitted(points, names)
    columns = list(zip(*(_padded(values, len(names)) for _, values in rows), strict=True)) or [()] * len(names)
    plain = [[None if isinstance(value, CellError) else value for value in values] for values in columns]
    schema = pa.schema([(name, _kind(values)) for name, values in zip(names, plain, strict=True)])
    faults = _faults(sheet, points, names, rows)
    batches = _batches(points, schema, plain, [number for number, _ in rows], faults, rows_per_batch)
    return OpenSheet(points, header_line, schema, batches, tuple(_above(sheet, header_line)))


def _above(sheet: SheetRows, header_line: int) -> Iterator[str]:
    """Yield the rows above the header, empty ones too."""
    filled = {number: values for number, values in sheet.rows if number < header_line}
    for number in range(1, header_line if filled else 1):
        yield ",".join(as_text(value) for value in filled.get(number, ()))


def unseen_sheets(path: Path, points: Points) -> tuple[HiddenSheet, ...]:
    """Return the hidden sheets beside the one that the block means. Raises `Unusable` where it cannot be read."""
    return _opened(path, points).unseen


def hidden_rows(path: Path, points: Points) -> HiddenRows | None:
    """Return which rows that may be readings are hidden, None where none is. Raises `Unusable` as above."""
    sheet = _opened(path, points)
    rows = _taken_apart(sheet, points)[2]
    hidden = [number for number, values in rows if number in sheet.look.hidden and may_be_read(values)]
    return HiddenRows(len(hidden), hidden[0]) if hidden else None


def _opened(path: Path, points: Points) -> SheetRows:
    try:
        return _sheet(path, points.layer[0] if points.layer else None, signature(path))
    except BrokenWorkbook as error:
        raise Unusable(error.row, error.what, error.fix) from error


@lru_cache(maxsize=4)
def _sheet(path: Path, layer: str | None, _at: Signature) -> SheetRows:
    """Read a sheet once for the looks and passes that follow; a file that was changed since is read again."""
    return read_workbook(read_whole(path, TABLE), layer)


def _taken_apart(sheet: SheetRows, points: Points) -> tuple[int, tuple[str, ...], list[Row]]:
    """Return the header's row, the names of the columns, and the rows below it that are no comments."""
    rows = [row for row in sheet.rows if row[0] > (points.skip or 0)]
    wanted = frozenset(map(spelling, mapped_by_name(points.columns).values()))
    if points.header == 0:
        body, header_line = rows, points.skip or 0
        names = by_place([sheet.look.width])
    else:
        number, values = _header(rows, points, wanted)
        body, header_line = [row for row in rows if row[0] > number], number
        names = names_of(_titles(values, body), number, wanted)
    body = [row for row in body if not _is_comment(row, points.comment)]
    return header_line, names, body


def _is_comment(row: Row, sign: str | None) -> bool:
    return sign is not None and next((str(each) for each in row[1] if each is not None), "").startswith(sign)


def commented_rows(path: Path, points: Points) -> Iterator[tuple[int, list[str], int]]:
    """Yield the rows below the header that are comments: number, texts, and how many columns the header has.

    Raises `Unusable` where the file cannot be read.
    """
    header, names, _ = _taken_apart(sheet := _opened(path, points), points)
    for row in sheet.rows:
        if row[0] > header and _is_comment(row, points.comment):
            yield row[0], [as_text(value) for value in row[1]], len(names)


def _titles(values: Sequence[object], body: list[Row]) -> list[str]:
    """Return the cells of a header; columns without a name that hold anything below it get that of their place."""
    width = max((place for _, row in body for place, value in enumerate(row, start=1) if value is not None), default=0)
    titles = [as_text(value) for value in values]
    return [title or (f"column_{place}" if place <= width else "") for place, title in enumerate(titles, start=1)]


def _header(rows: list[Row], points: Points, wanted: frozenset[str]) -> Row:
    """Return the row that names the columns: as stated, or the one that names most of the wanted ones, or the first.

    Raises `Unusable` where one above it has as many cells as it has: that may be a row, which must not be lost.
    """
    if points.header is not None:
        found = next((row for row in rows if row[0] == points.header), None)
        if found is None:
            raise Unusable(points.header, f"header = {points.header} is stated, but that row is empty")
        return found
    if not rows:
        raise Unusable(1, "the sheet is empty: it has no header")
    counts = [len(wanted.intersection(spelling(as_text(value)) for value in row)) for _, row in rows[:_MOST_ABOVE]]
    place = counts.index(max(counts))
    cells = len([value for value in rows[place][1] if value is not None])
    for number, values in rows[:place]:
        if len([value for value in values if value is not None]) >= cells:
            header = rows[place][0]
            what = f"the column names are here, below rows that may be readings (row {number})"
            raise Unusable(header, what, f"state header = {header} if not, else put the header first")
    return rows[place]


def _padded(values: tuple[object, ...], width: int) -> tuple[object, ...]:
    return (*values, *[None] * (width - len(values)))[:width]


def _kind(values: Sequence[object]) -> pa.DataType:
    """Return the type of a column that keeps all its values, of one without any the one for text."""
    whole = [value for value in values if type(value) is int]
    return column_type(map(type, values), min(whole, default=0), max(whole, default=0))


def _faults(sheet: SheetRows, points: Points, names: Sequence[str], rows: list[Row]) -> list[str | None]:
    """Return per row why it cannot be taken: it is hidden, or the value of a mapped cell is none."""
    places = {name: place for place, name in enumerate(names, start=1)}
    used = [(word, places[name]) for word, name in mapped(points.columns).items() if name in places]
    found: list[str | None] = []
    for number, values in rows:
        cells = [(word, sheet.odd(number, place, _padded(values, place)[-1])) for word, place in used]
        told = [f"{word}: {what}" for word, what in cells if what]
        if number in sheet.look.hidden:
            told.insert(0, "the row is hidden in the sheet: unhide it if it should be read, or delete it")
        found.append("; ".join(told) or None)
    return found


def _batches(
    points: Points,
    schema: pa.Schema,
    columns: Sequence[Sequence[object]],
    numbers: list[int],
    faults: list[str | None],
    rows_per_batch: int,
) -> Iterator[Raw]:
    for start in range(0, len(numbers), rows_per_batch):
        part = slice(start, start + rows_per_batch)
        found = {
            field.name: column_of(values[part], field.type, points.decimal or ".")[0]
            for field, values in zip(schema, columns, strict=True)
        }
        told = pa.array(faults[part], pa.string()) if any(faults[part]) else None
        yield Raw(found, np.array(numbers[part], np.int64), told)
