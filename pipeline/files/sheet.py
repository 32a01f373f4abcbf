"""A small table of text kept beside the job file, such as the sessions' or the register's CSV."""

import hashlib
import io
import math
import re
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path

from msgspec import Struct

from pipeline.files import table_endings
from pipeline.files.printed_pages import NO_PAGES, Pages
from pipeline.files.table_head import Headed, column_names, headed_table, records_above
from pipeline.files.table_text import decode, find_delimiter, has_long_line, has_nul, read_bytes, records_of
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
from pipeline.files.written_table import AS_FOUND, BLANKS, Asked, Record, Written, by_place
from pipeline.problems import Problems
from pipeline.words import counted

#: Endings of tables of text.
TABLES = table_endings.TABLES
_DECIMAL_COMMA = re.compile(r"[+-]?([0-9]{4,},[0-9]+|[0-9]+,([0-9]{1,2}|[0-9]{4,}))")
_NUMBER = re.compile(r"[+-]?([0-9]+([.][0-9]*)?|[.][0-9]+)([eE][+-]?[0-9]+)?")


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


def number(text: str, comma: bool = False) -> float | None:
    """Return the number that ``text`` writes in digits, or None; with ``comma`` its decimal sign may be a comma."""
    written = text.replace("−", "-")  # a typeset minus is one all the same
    written = written.replace(",", ".") if comma else written
    value = float(written) if _NUMBER.fullmatch(written) else math.nan
    return value if math.isfinite(value) else None


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
    asked = Asked(shown, problems, known, how, every)
    found = _records_of(path, data, asked)
    if found is None or len(problems.found) > before:
        return None
    records, delimiter = found
    headed = headed_table(records, asked)
    if headed is not None and delimiter == BLANKS:
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


def _records_of(path: Path, data: bytes, asked: Asked) -> tuple[list[Record], str] | None:
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
    if text is None or has_long_line(text, asked) or has_nul(text, asked):
        return None
    delimiter = asked.how.delimiter or find_delimiter(text, asked.known)
    return list(records_of(text, delimiter, asked)), delimiter


def _check_places(data: bytes, headed: Headed, asked: Asked) -> None:
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


def _quotes_commas(rows: Sequence[tuple[int, dict[str, str]]]) -> bool:
    """Say whether cells in quotes, between commas, have decimal commas: some part no thousands, and none has a point.

    Of 565,000 alone nobody can tell, and one cell may be a slip.
    """
    cells = [cell for _, row in rows for cell in row.values() if "," in cell or "." in cell]
    commas = sum(map(bool, map(_DECIMAL_COMMA.fullmatch, cells)))
    return commas > 1 and not any(number(cell) is not None for cell in cells)


def _of_workbook(data: bytes, asked: Asked) -> Iterator[Record]:
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


def _names_of(texts: list[Record], asked: Asked) -> tuple[int, list[str]]:
    """Return the row of a sheet that names its columns, 0 where none does, and the names, as many as columns count."""
    above = records_above(texts, asked.known, asked.how)
    if above is None or above < 0:
        width = max((len(cells) for _, cells in texts), default=0)
        return 0, [by_place(at) for at in range(1, width + 1)]
    line, header = texts[above]
    return line, list(column_names(header, asked.how.places, asked.known))


def _row(
    line: int, cells: list[str], columns: tuple[str, ...], wanted: list[tuple[int, str]], asked: Asked
) -> dict[str, str]:
    """Return the cells of the columns that are ``wanted``, each with its place, but for empty ones."""
    if any(cells[len(columns) :]):
        asked.note(
            line,
            f"this row has {counted(len(cells), 'cell')}; the header has {len(columns)}",
            "with a decimal comma separate the cells by ';', and put a cell that holds the delimiter in quotes",
        )
    return {name: cells[place] for place, name in wanted if place < len(cells) and cells[place]}
