"""One sheet of a spreadsheet (.xlsx): its rows of values as they are stored, and what is odd about its cells."""

import io
import re
import warnings
import zipfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import Any, TypeVar
from xml.parsers.expat import ExpatError

from msgspec import Struct

from pipeline.files import table_endings
from pipeline.files.workbook_parts import (
    BROKEN,
    BrokenWorkbook,
    SheetLook,
    cell_name,
    check_parts,
    look_at,
    sheet_parts,
)
from pipeline.near import listed

#: Endings of spreadsheets that are read, and of others, which can be saved as one of them.
WORKBOOKS, OTHER_WORKBOOKS = table_endings.WORKBOOKS, (".xls", ".xlsb", ".ods", ".numbers")
SAVE_AS = "save it as .xlsx or .csv"

#: The beginning of a file of the former kind, and of one that a password protects.
PACKED = b"PK\x03\x04"
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"

_Found = TypeVar("_Found")

#: What the library raises where XML is not what it expects.
_NOT_EXPECTED = (KeyError, ValueError, TypeError, IndexError, AttributeError, SyntaxError, OverflowError, ExpatError)


class CellError(Struct, frozen=True):
    """A cell that holds an error instead of a value, such as #N/A."""

    text: str


class HiddenSheet(Struct, frozen=True):
    """A sheet that is not read, and how many of its rows have two cells at least that begin with a figure.

    It is one that is not ``shown``, or one that is and has the row of headings of the sheet that is read.
    """

    name: str
    rows: int
    shown: bool = False


#: So many cells of a row begin with a figure where it may be a reading, or a mark.
_FIGURES = 2
_FIGURE = re.compile(r"\s*[+-]?\.?\d")
#: Rows among which the headings stand, and how many there are at least.
_ABOVE, _HEADINGS = 20, 3
#: The cells of a row.
_Values = tuple[object, ...]


class SheetRows(Struct, frozen=True):
    """A sheet's rows that have a value, each with its number: None, text, number, bool or `CellError` by column.

    A date or time is text in ISO 8601: ``2026-03-02``, ``07:30:00`` or ``2026-03-02T07:30:00``. ``look`` says which
    rows are hidden, which cells merged and which formulas without a value. ``unseen`` are the workbook's other sheets
    that hold rows which may be readings and are hidden, or have the headings of this one.
    """

    name: str
    rows: tuple[tuple[int, tuple[object, ...]], ...]
    look: SheetLook
    unseen: tuple[HiddenSheet, ...] = ()

    def odd(self, row: int, column: int, value: object) -> str | None:
        """Return in words why a cell's value cannot be taken; columns count from 1."""
        if isinstance(value, CellError):
            return f"the cell holds the error {value.text}"
        if (row, column) in self.look.unsaved:
            return "the cell's formula has no stored value: open the file, save it, or export values"
        into = self.look.merged.get((row, column))
        return f"the cell is merged into {cell_name(*into)}: give each row its own value" if into else None


def read_workbook(data: bytes, layer: str | None) -> SheetRows:
    """Read one sheet: ``layer``, or the only one shown that holds rows.

    Raises `BrokenWorkbook` where the spreadsheet cannot be read or it is not plain which sheet is meant.
    """
    return _opened(data, lambda package: _read(package, data, layer))


def sheets_of(data: bytes) -> list[str]:
    """Return the sheets shown that hold rows, in order. Raises `BrokenWorkbook` where it cannot be read."""
    return _opened(data, lambda package: _sheets(package, data))


def hidden_sheets(data: bytes) -> list[HiddenSheet]:
    """Return the sheets that are not shown and hold anything, in order. Raises `BrokenWorkbook` where it cannot be."""
    return _opened(data, lambda package: _hidden(package, data))


def _opened(data: bytes, read: Callable[[zipfile.ZipFile], _Found]) -> _Found:
    if data.startswith(OLD_WORKBOOK):
        raise BrokenWorkbook("it is protected by a password, or a spreadsheet in the old .xls format", SAVE_AS)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            check_parts(package)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # of what a sheet has beside its values
                return read(package)
    except BROKEN as error:
        raise BrokenWorkbook(f"it cannot be unpacked: {error}", SAVE_AS) from error
    except _NOT_EXPECTED as error:
        raise BrokenWorkbook(f"its XML cannot be read: {error}", SAVE_AS) from error


def _read(package: zipfile.ZipFile, data: bytes, layer: str | None) -> SheetRows:
    with _book(data) as book:
        shown, looks = _looks(book, package, len(data))
        name = _chosen(layer, shown, looks)
        rows = tuple(_rows(book[name], looks[name]))
        every = (*_unseen(book, shown, looks), *_alike(book, shown, looks, name, rows))
        unseen = tuple(each for each in every if each.rows and each.name != name)
        return SheetRows(name, rows, looks[name], unseen)


def _sheets(package: zipfile.ZipFile, data: bytes) -> list[str]:
    with _book(data) as book:
        return _filled(*_looks(book, package, len(data)))


def _hidden(package: zipfile.ZipFile, data: bytes) -> list[HiddenSheet]:
    with _book(data) as book:
        return list(_unseen(book, *_looks(book, package, len(data))))


def _unseen(book: Any, shown: dict[str, bool], looks: dict[str, SheetLook]) -> Iterator[HiddenSheet]:
    for name, look in looks.items():
        if shown[name] or not look.filled:
            continue
        try:
            count = sum(may_be_read(values) for _, values in _rows(book[name], look))
        except _NOT_EXPECTED:  # which stops nobody who does not ask for this sheet
            count = look.filled
        yield HiddenSheet(name, count)


def _alike(
    book: Any, shown: dict[str, bool], looks: dict[str, SheetLook], name: str, rows: Sequence[tuple[int, _Values]]
) -> Iterator[HiddenSheet]:
    """Yield the sheets shown that have the headings of the one of a name, whose ``rows`` these are."""
    heads = {row for _, values in rows[:_ABOVE] if (row := _headings(values)) is not None}
    for other in _filled(shown, looks) if heads else ():
        if other == name:
            continue
        try:
            found = [values for _, values in _rows(book[other], looks[other])]
        except _NOT_EXPECTED:  # which stops nobody who does not ask for this sheet
            continue
        if heads.intersection(map(_headings, found[:_ABOVE])):
            yield HiddenSheet(other, sum(map(may_be_read, found)), shown=True)


def _headings(values: _Values) -> tuple[str, ...] | None:
    """Return a row as headings: words in three cells and more, and no number; None of others."""
    words = tuple(as_text(value).strip() for value in values)
    while words and not words[-1]:
        words = words[:-1]
    given = [word for word in words if word]
    return words if len(given) >= _HEADINGS and not any(map(_FIGURE.match, given)) else None


def may_be_read(values: tuple[object, ...]) -> bool:
    """Tell whether a row may be a reading, or a mark: two of its cells at least begin with a figure."""
    return sum(_FIGURE.match(as_text(value)) is not None for value in values) >= _FIGURES


@contextmanager
def _book(data: bytes) -> Iterator[Any]:
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
    try:
        yield book
    finally:
        book.close()


def _looks(book: Any, package: zipfile.ZipFile, size: int) -> tuple[dict[str, bool], dict[str, SheetLook]]:
    """Return of each sheet whether it is shown, and how it looks."""
    names = _names_in_order(package)
    if len(names) != len(book.worksheets):  # of the strict variant of the format the library finds none
        raise BrokenWorkbook("its list of sheets cannot be read", "save it as .xlsx (not the strict one) or .csv")
    parts = dict(zip(names, book.worksheets, strict=True))
    looks = {sheet.title: look_at(package, part, size) for part, sheet in parts.items()}
    return {sheet.title: sheet.sheet_state == "visible" for sheet in parts.values()}, looks


def _names_in_order(package: zipfile.ZipFile) -> list[str]:
    """Return the parts of the sheets in the workbook's order, as the library has them."""
    from xml.etree import ElementTree

    of_relation = sheet_parts(package)
    with package.open("xl/workbook.xml") as opened:
        root = ElementTree.parse(opened).getroot()
    sheets = [each for each in root.iter() if each.tag.rpartition("}")[2] == "sheet"]
    relations = [next((value for key, value in each.items() if key.endswith("}id")), "") for each in sheets]
    return [of_relation[each] for each in relations if each in of_relation]


def _chosen(layer: str | None, shown: dict[str, bool], looks: dict[str, SheetLook]) -> str:
    every = listed(list(shown), '"')
    if layer is not None:
        if layer not in shown:
            raise BrokenWorkbook(f'it has no sheet "{layer}"', f"write layer = one of {every}")
        return layer
    filled = _filled(shown, looks)
    if not filled:
        raise BrokenWorkbook("it has no sheet with rows", "if a hidden one is meant, name it as layer")
    if len(filled) > 1:
        what = f"several of its sheets hold rows: {listed(filled, chr(34))}"
        raise BrokenWorkbook(what, "name one of them as layer in the job file, or keep each in a workbook of its own")
    return filled[0]


def _filled(shown: dict[str, bool], looks: dict[str, SheetLook]) -> list[str]:
    """Return the sheets shown that hold rows, those of one row where no other does."""
    filled = [name for name, look in looks.items() if shown[name] and look.filled > 1]
    return filled or [name for name, look in looks.items() if shown[name] and look.filled]


def as_text(value: object) -> str:
    """Return a value as a table of text has it: nothing for none and for an error, no decimals of a whole number."""
    if value is None or isinstance(value, CellError):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value).strip()


def _rows(sheet: Any, look: SheetLook) -> Iterator[tuple[int, tuple[object, ...]]]:
    if not look.last:
        return
    sheet.reset_dimensions()  # what the file says of its size may be wrong
    unsaved = {row for row, _ in look.unsaved}
    cells = sheet.iter_rows(min_row=1, max_row=look.last, max_col=look.width)
    # no further: what stands below the rows would be read too
    for number, row in enumerate(islice(cells, look.last), start=1):
        values = tuple(map(_value, row))
        if number in unsaved or any(value is not None and value != "" for value in values):
            yield number, values


def _value(cell: Any) -> object:
    value = cell.value
    if isinstance(value, str):
        return CellError(value) if cell.data_type == "e" else value
    if isinstance(value, datetime):
        return _date(value, cell.number_format)
    if isinstance(value, time | date):
        return value.isoformat()
    if isinstance(value, timedelta):
        return _duration(value)
    return value


def _date(value: datetime, form: str) -> str:
    from openpyxl.styles.numbers import is_datetime

    if is_datetime(form) == "date" and value.time() == time():
        return value.date().isoformat()
    return value.isoformat()


def _duration(value: timedelta) -> str:
    """Return a span of time, which a time of day is where it is shown as hours of any number."""
    seconds, parts = divmod(round(value.total_seconds() * 1000), 1000)
    text = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return f"{text}.{parts:03d}" if parts else text
