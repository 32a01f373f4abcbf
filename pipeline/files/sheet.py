"""A small table of text kept beside the job file, such as the sessions' or the register's CSV."""

import codecs
import csv
import hashlib
import io
import math
import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from itertools import islice
from pathlib import Path

from msgspec import Struct

from pipeline.files import table_endings
from pipeline.files.odd_text import looks_like_data
from pipeline.files.printed_pages import NO_PAGES, Pages, is_heading, may_be_rows, pages_of
from pipeline.files.regular_files import read_whole
from pipeline.files.unread_formats import unread_format
from pipeline.files.workbook import (
    OLD_WORKBOOK,
    OTHER_WORKBOOKS,
    PACKED,
    SAVE_AS,
    WORKBOOKS,
    as_text,
    read_workbook,
)
from pipeline.files.workbook_parts import BrokenWorkbook
from pipeline.limits import COLUMNS, LINE, TABLE
from pipeline.near import plain
from pipeline.problems import Problems
from pipeline.words import counted

#: Lines of the beginning among which the header is looked for, and characters of it and of each that are looked at.
_LINES_ABOVE_HEADER_MAX, _BEGINNING_CHARACTERS, _LINE_CHARACTERS = 50, 1 << 20, 1 << 16

#: Endings of tables of text.
TABLES = table_endings.TABLES

#: Signs between cells, the likeliest first, and what stands for any number of blanks.
_SIGNS, _BLANKS = ",;\t|", " "
_DECIMAL_COMMA = re.compile(r"[+-]?([0-9]{4,},[0-9]+|[0-9]+,([0-9]{1,2}|[0-9]{4,}))")
_NUMBER = re.compile(r"[+-]?([0-9]+([.][0-9]*)?|[.][0-9]+)([eE][+-]?[0-9]+)?")


#: The line on which a record begins, and its cells.
_Record = tuple[int, list[str]]


class Sheet(Struct, frozen=True):
    """A table as written: every cell is text, stripped of blanks around it, and "" where there is none.

    ``columns`` are the header's names in small letters, but for two that these would make one; each of
    ``rows`` is its line (or a feature's number) and its cells by column, those of columns that are asked for.
    ``header`` is the header's line; ``comma`` tells whether a decimal comma is possible, ``point`` whether a decimal
    point is. ``of_points`` are the columns that geometries gave. ``pages`` is what was left out as no row,
    ``headings`` are the columns' names as written.
    """

    shown: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    comma: bool
    sha256: str
    header: int = 1
    point: bool = True
    of_points: tuple[str, ...] = ()
    pages: Pages = NO_PAGES
    headings: tuple[str, ...] = ()

    def number(self, text: str) -> float | None:
        """Return the number that a cell writes in digits, with a decimal sign that is possible here, or None."""
        return number(text, self.comma) if self.point or "." not in text else None


class Written(Struct, frozen=True):
    """How a table is written, where the job file says so; what is None is found by looking.

    ``header`` is the line that names the columns, 0 where none does. ``places`` are columns that go by their numbers,
    counted from 1: `by_place` is what they are called, whatever the header calls them. ``layer`` is that of a
    GeoPackage, or the sheet of a spreadsheet, where several hold rows. ``pages`` tells whether it may have been printed
    on pages, each with its heading, which are left out then with titles and footers around them.
    """

    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    header: int | None = None
    places: frozenset[int] = frozenset()
    layer: str | None = None
    pages: bool = False


#: A table of which the job file says nothing.
AS_FOUND = Written()


class _Asked(Struct, frozen=True):
    """A table as it is asked for: what it is called, which columns are known, how it is written; and its problems."""

    shown: str
    problems: Problems
    known: Collection[str]
    how: Written
    every: bool

    def note(self, line: int, what: str, fix: str = "") -> None:
        self.problems.add(self.shown, line, what, fix)

    def wants(self, column: str) -> bool:
        return not self.known or column in self.known


def by_place(place: int) -> str:
    """Return what a column is called that goes by its number."""
    return f"column_{place}"


def number(text: str, comma: bool = False) -> float | None:
    """Return the number that ``text`` writes in digits, or None; with ``comma`` its decimal sign may be a comma."""
    written = text.replace("−", "-")  # a typeset minus is one all the same
    written = written.replace(",", ".") if comma else written
    value = float(written) if _NUMBER.fullmatch(written) else math.nan
    return value if math.isfinite(value) else None


def read_bytes(path: Path, shown: str, problems: Problems) -> bytes | None:
    """Return a file's content, or None and a problem where it cannot be read."""
    try:
        return read_whole(path, TABLE)
    except FileNotFoundError:
        problems.add(shown, 0, "this file is not there", "paths are relative to the job file's folder")
    except OSError as error:
        problems.add(shown, 0, f"this file cannot be read: {error.strerror}")
    return None


def decode(data: bytes, shown: str, problems: Problems, encoding: str | None = None) -> str | None:
    """Return UTF-8 text, with or without its byte order mark, or None and a problem with the line that is not.

    UTF-16 is read where a byte order mark says so, another ``encoding`` where it is stated.
    """
    if encoding is not None and "".join(filter(str.isalnum, encoding.casefold())) not in ("utf8", "utf8sig"):
        return _decode_as(encoding, data, shown, problems)
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError:
            problems.add(
                shown,
                1,
                "this is not UTF-16 text, although its first bytes say so",
                "save the file with the encoding UTF-8",
            )
            return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        fix = 'save the file with the encoding UTF-8, or state its encoding, such as "cp1252", in the job file'
        problems.add(shown, line, "this is not UTF-8 text", fix)
        return None


def _decode_as(encoding: str, data: bytes, shown: str, problems: Problems) -> str | None:
    try:
        return data.decode(encoding).removeprefix("\ufeff")
    except UnicodeError as error:
        line = data.count(b"\n", 0, error.start) + 1 if isinstance(error, UnicodeDecodeError) else 1
        fix = f'the file is not in the encoding "{encoding}"; leave encoding out where it is UTF-8'
        problems.add(shown, line, f"this is not {encoding.upper()} text", fix)
        return None


def read_sheet(
    path: Path,
    shown: str,
    problems: Problems,
    known: Collection[str] = (),
    how: Written = AS_FOUND,
    every: bool = False,
) -> Sheet | None:
    """Read a CSV file with a header and ``,``, ``;``, a tab or ``|`` between the cells, or a spreadsheet.

    A CSV is UTF-8 unless ``how`` says otherwise.
    Lines above the header, which is found by the columns that are ``known``, empty lines and lines of empty cells are
    stepped over; a row may leave out cells at its end. Cells of other columns are kept where ``every`` one is wanted.
    A heading that comes again is a problem, but for pages.
    Returns None where the file cannot be read as a table; what is wrong is added to ``problems``.
    """
    before = len(problems.found)
    data = read_bytes(path, shown, problems)
    if data is None:
        return None
    asked = _Asked(shown, problems, known, how, every)
    found = _records_of(path, data, asked)
    if found is None or len(problems.found) > before:
        return None
    records, delimiter = found
    headed = _headed(records, asked)
    if headed is not None and delimiter == _BLANKS:
        _check_places(data, headed, asked)
    if headed is None or len(problems.found) > before:
        return None
    columns = headed.columns
    wanted = [(place, name) for place, name in enumerate(columns) if every or asked.wants(name)]
    rows = tuple((line, _row(line, cells, columns, wanted, asked)) for line, cells in headed.body)
    if len(problems.found) > before:
        return None
    comma = how.decimal != "." and (delimiter != "," or how.decimal == "," or _quotes_commas(rows))
    point, digest = how.decimal != ",", hashlib.sha256(data).hexdigest()
    return Sheet(shown, columns, rows, comma, digest, headed.line, point, (), headed.pages, headed.headings)


def _records_of(path: Path, data: bytes, asked: _Asked) -> tuple[list[_Record], str] | None:
    """Return the lines of a file that hold cells, and the delimiter between these; None where it is no text."""
    if path.suffix.lower() in WORKBOOKS:
        return list(_of_workbook(data, asked)), ","
    if data.startswith((PACKED, OLD_WORKBOOK)):
        what = f"it is no text: the content does not match the ending {path.suffix}"
        if path.suffix.lower() in OTHER_WORKBOOKS:
            what = unread_format(path)
        asked.problems.add(asked.shown, 0, what, SAVE_AS)
        return None
    text = decode(data, asked.shown, asked.problems, asked.how.encoding)
    if text is None or _has_long_line(text, asked) or _has_nul(text, asked):
        return None
    delimiter = asked.how.delimiter or _delimiter(text, asked.known)
    return list(_records(text, delimiter, asked)), delimiter


class _Headed(Struct, frozen=True):
    """The columns of a table, the line that names them (0: none does), and the lines below it."""

    columns: tuple[str, ...]
    line: int
    body: list[_Record]
    pages: Pages = NO_PAGES
    headings: tuple[str, ...] = ()


def _headed(records: list[_Record], asked: _Asked) -> _Headed | None:
    """Find the header of a table and check it; None where there is none, or nothing at all."""
    known, how = asked.known, asked.how
    if not records:
        asked.note(1, "this table is empty", "its first line names the columns")
        return None
    above = _above_header(records, known, how)
    if above is None:
        asked.note(how.header or 0, "the line that header states is empty", "count lines from the top")
        return None
    line, header = records[above] if above >= 0 else (0, [""] * max(len(cells) for _, cells in records))
    columns = _called(header, how.places if above >= 0 else range(1, len(header) + 1), known)
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
    return _Headed(columns, line, body, left_out, tuple(header))


def _check_places(data: bytes, headed: _Headed, asked: _Asked) -> None:
    """Note rows between blanks whose cells stand in other columns: an empty cell cannot be seen otherwise."""
    from pipeline.files.cell_places import cell_places  # numpy takes a while, and few tables have blanks

    lines = ["", *io.StringIO(decode(data, asked.shown, asked.problems, asked.how.encoding) or "", newline=None)]
    texts = {line: lines[line].rstrip("\n") for line, _ in headed.body}
    header = lines[headed.line].encode() if headed.line else b""
    places = cell_places(header.rstrip(b"\n"), [text.encode() for text in texts.values()], len(headed.columns))
    for line, text in texts.items():
        if places.is_misplaced(text, short=True):
            what = "by their places on the line this row's cells stand in other columns than their own: one is empty"
            asked.note(line, what, "separate the columns by ';' or tabs, so that an empty cell can be seen")


def _called(header: Sequence[str], places: Collection[int], known: Collection[str]) -> tuple[str, ...]:
    """Return the names of columns: those of ``places``, and nameless ones that are ``known`` so, go by their numbers.

    A column has no name under a heading of several lines, or merged cells; an export's go by their numbers too.
    """
    names = [plain(name) for name in header]
    nameless = {at for at, name in enumerate(names, start=1) if not name and by_place(at) in {*known} - {*names}}
    return tuple(by_place(at) if at in places or at in nameless else name for at, name in enumerate(names, start=1))


def _quotes_commas(rows: Sequence[tuple[int, dict[str, str]]]) -> bool:
    """Say whether cells in quotes, between commas, have decimal commas: some part no thousands, and none has a point.

    Of 565,000 alone nobody can tell, and one cell may be a slip.
    """
    cells = [cell for _, row in rows for cell in row.values() if "," in cell or "." in cell]
    commas = sum(map(bool, map(_DECIMAL_COMMA.fullmatch, cells)))
    return commas > 1 and not any(number(cell) is not None for cell in cells)


def _apart(columns: tuple[str, ...], header: Sequence[str]) -> tuple[str, ...]:
    """Return names of columns, those that differ in nothing but their letters' case (h and H) as they are written."""
    twice = {name for name, count in Counter(columns).items() if name and count > 1}
    written = [" ".join(cell.split()) for cell in header]
    return tuple(there if name in twice else name for name, there in zip(columns, written, strict=True))


def _has_long_line(text: str, asked: _Asked) -> bool:
    """Note a line that is longer than one may be."""
    begun = 0
    while len(text) - begun > LINE:
        last = max(text.rfind(sign, begun, begun + LINE) for sign in "\n\r")
        if last < 0:
            line = text.count("\n", 0, begun) + 1
            what = f"this line has more than {counted(LINE, 'character')}"
            asked.note(line, what, "check that it is a text file with a line per row")
            return True
        begun = last + 1
    return False


def _has_nul(text: str, asked: _Asked) -> bool:
    """Note the first NUL character: libraries in C would take what stands before it for the whole of a cell."""
    if "\0" not in text:
        return False
    line = text.count("\n", 0, text.index("\0")) + 1
    asked.note(line, "there is a NUL character in this line", "take it out, or save the file as UTF-8 text")
    return True


def _delimiter(text: str, known: Collection[str]) -> str:
    """Return the delimiter by which a line of the beginning has most known columns, or else most cells.

    Blanks, as many as there are, part cells only where a line has more known columns so than by any sign.
    """
    beginning = (line[:_LINE_CHARACTERS] for line in text[:_BEGINNING_CHARACTERS].splitlines() if line.strip())
    lines = list(islice(beginning, _LINES_ABOVE_HEADER_MAX)) or [""]

    def worth(sign: str) -> tuple[int, int]:
        found = [line.split() if sign == _BLANKS else next(csv.reader([line], delimiter=sign), []) for line in lines]
        return max(len(set(known).intersection(map(plain, cells))) for cells in found), len(found[0])

    best = max(_SIGNS, key=worth)
    return _BLANKS if worth(_BLANKS)[0] > worth(best)[0] else best


#: A cell that is a number, how many of them a row has, and cells that a line of text does not have.
_FIGURE, _FIGURES, _NO_TEXT = re.compile(r"\s*[-+]?\d+([.,]\d+)?\s*\Z"), 2, 6
_CHECK_QUOTES = 'check the quotes: "..." around a cell'


#: Columns of the tables that are read here, in the order in which they are usually written.
_USUAL = ("mark", "name", "start", "end", "base", "code", "easting", "northing", "height")


def _in_order(known: Collection[str]) -> list[str]:
    """Return the columns that a header is to have, the usual ones of a table first, in one order at any time."""
    usual = [name for name in _USUAL if name in known]
    return usual if len(usual) > 1 else sorted(known)


def _takes_marks(known: Collection[str]) -> bool:
    return "holds" in known or any(name.startswith("column_") for name in known)


def _above_header(records: list[_Record], known: Collection[str], how: Written) -> int | None:
    """Return how many records stand above the header: the one that names most of the known columns, or the first.

    The one that is stated where one is, -1 where none names the columns; None where that line is empty.
    """
    if how.header is not None:
        lines = [line for line, _ in records]
        return -1 if not how.header else lines.index(how.header) if how.header in lines else None
    counts = [len(set(known).intersection(map(plain, cells))) for _, cells in records[:_LINES_ABOVE_HEADER_MAX]]
    return counts.index(max(counts))


def _check_above(above: list[_Record], body: list[_Record], header: list[str], line: int, asked: _Asked) -> None:
    """Note lines above the header that may be rows by their cells, as rows must not be lost."""
    for row in may_be_rows(above, header, body):
        what = f"the column names are here, below lines that may be rows (line {row})"
        asked.note(line, what, "put the header first, and delete what is above it")
        return


def _left_out(above: list[_Record], header: list[str], body: list[_Record], asked: _Asked) -> Pages:
    """Return what is no row below a header, as of a table that was printed; note titles that differ by the page."""
    found = pages_of(above, header, body)
    if found.differ is not None:
        line, first = found.differ
        what = f"this line between pages says something else than line {first}: the rows below may be of another system"
        asked.note(line, what, "write the rows of each system in a file of their own; delete this line if they are one")
    return found


def _check_heading_again(
    body: Sequence[_Record], header: Sequence[str], line: int, asked: _Asked, otherwise: int
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


def _records(text: str, delimiter: str, asked: _Asked) -> Iterator[_Record]:
    """Yield each record that is not empty with the line on which it begins; lines within a cell end in a line feed."""
    blanks = delimiter == _BLANKS
    if blanks:
        text = "\n".join(line.strip().replace("\t", _BLANKS) for line in io.StringIO(text, newline=None))
    reader = csv.reader(io.StringIO(text, newline=None), delimiter=delimiter, strict=True, skipinitialspace=blanks)
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            asked.note(line, f"this row cannot be read: {error}", _CHECK_QUOTES)
            return
        if len(cells) > COLUMNS:
            what = f"this row has {counted(len(cells), 'cell')}; the maximum is {COLUMNS:,}"
            asked.note(line, what, "delete the columns that are not needed")
            return
        if _holds_a_row(cells, delimiter):
            what = "a quoted cell of this row continues over a line that has as many cells as the row"
            asked.note(line, what, _CHECK_QUOTES)
            return
        if any(cells := [cell.strip() for cell in cells]):
            yield line, cells


def _holds_a_row(cells: Sequence[str], delimiter: str) -> bool:
    """Whether a line within a cell is like a row: a quote then swallowed others. A text has commas, and few of them."""
    return any(
        len(row) >= max(2, len(cells)) and (len(row) >= _NO_TEXT or sum(map(bool, map(_FIGURE.match, row))) >= _FIGURES)
        for cell in cells
        for row in (line.split(delimiter) for line in cell.split("\n")[1:])
    )


def _of_workbook(data: bytes, asked: _Asked) -> Iterator[_Record]:
    """Yield each row of a sheet as text; a cell of a known column that has no sure value, or a hidden row, is noted."""
    try:
        sheet = read_workbook(data, asked.how.layer)
    except BrokenWorkbook as error:
        asked.note(error.row, error.what, error.fix)
        return
    texts = [(number, [as_text(value) for value in values]) for number, values in sheet.rows]
    header_line, names = _names_of(texts, asked)
    wanted = [place for place, name in enumerate(names) if name and asked.wants(name)]
    for (number, values), (_, cells) in zip(sheet.rows, texts, strict=True):
        below = number > header_line
        if below and number in sheet.look.hidden:
            asked.note(number, "this row is hidden in the sheet", "show it if it counts, or delete it")
        for place in wanted if below else ():
            if place < len(values) and (what := sheet.odd(number, place + 1, values[place])):
                asked.note(number, f"the column '{names[place]}': {what}")
        while len(cells) > len(names) and not cells[-1]:
            cells.pop()
        yield number, cells[: len(names)] if below else cells


def _names_of(texts: list[_Record], asked: _Asked) -> tuple[int, list[str]]:
    """Return the row of a sheet that names its columns, 0 where none does, and the names, as many as columns count."""
    above = _above_header(texts, asked.known, asked.how)
    if above is None or above < 0:
        width = max((len(cells) for _, cells in texts), default=0)
        return 0, [by_place(at) for at in range(1, width + 1)]
    line, header = texts[above]
    return line, list(_called(header, asked.how.places, asked.known))


def _row(
    line: int, cells: list[str], columns: tuple[str, ...], wanted: list[tuple[int, str]], asked: _Asked
) -> dict[str, str]:
    """Return the cells of the columns that are ``wanted``, each with its place, but for empty ones."""
    if any(cells[len(columns) :]):
        asked.note(
            line,
            f"this row has {counted(len(cells), 'cell')}; the header has {len(columns)}",
            "with a decimal comma separate the cells by ';', and put a cell that holds the delimiter in quotes",
        )
    return {name: cells[place] for place, name in wanted if place < len(cells) and cells[place]}
