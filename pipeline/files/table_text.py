"""The text of a table taken apart: its encoding, its delimiter, and its records with the lines on which they begin."""

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterator, Sequence
from itertools import islice
from pathlib import Path

from pipeline.files.regular_files import read_whole
from pipeline.files.written_table import BLANKS, LINES_ABOVE_HEADER, Asked, Record
from pipeline.limits import COLUMNS, LINE, TABLE
from pipeline.near import plain
from pipeline.problems import Problems
from pipeline.words import counted

#: Characters of the beginning, and of each line of it, that are looked at.
_BEGINNING_CHARACTERS, _LINE_CHARACTERS = 1 << 20, 1 << 16

#: Signs between cells, the likeliest first.
_SIGNS = ",;\t|"


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


def has_long_line(text: str, asked: Asked) -> bool:
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


def has_nul(text: str, asked: Asked) -> bool:
    """Note the first NUL character: libraries in C would take what stands before it for the whole of a cell."""
    if "\0" not in text:
        return False
    line = text.count("\n", 0, text.index("\0")) + 1
    asked.note(line, "there is a NUL character in this line", "take it out, or save the file as UTF-8 text")
    return True


def find_delimiter(text: str, known: Collection[str]) -> str:
    """Return the delimiter by which a line of the beginning has most known columns, or else most cells.

    Blanks, as many as there are, part cells only where a line has more known columns so than by any sign.
    """
    beginning = (line[:_LINE_CHARACTERS] for line in text[:_BEGINNING_CHARACTERS].splitlines() if line.strip())
    lines = list(islice(beginning, LINES_ABOVE_HEADER)) or [""]

    def worth(sign: str) -> tuple[int, int]:
        found = [line.split() if sign == BLANKS else next(csv.reader([line], delimiter=sign), []) for line in lines]
        return max(len(set(known).intersection(map(plain, cells))) for cells in found), len(found[0])

    best = max(_SIGNS, key=worth)
    return BLANKS if worth(BLANKS)[0] > worth(best)[0] else best


#: A cell that is a number, how many of them a row has, and cells that a line of text does not have.
_FIGURE, _FIGURES, _NO_TEXT = re.compile(r"\s*[-+]?\d+([.,]\d+)?\s*\Z"), 2, 6
_CHECK_QUOTES = 'check the quotes: "..." around a cell'


def records_of(text: str, delimiter: str, asked: Asked) -> Iterator[Record]:
    """Yield each record that is not empty with the line on which it begins; lines within a cell end in a line feed."""
    blanks = delimiter == BLANKS
    if blanks:
        text = "\n".join(line.strip().replace("\t", BLANKS) for line in io.StringIO(text, newline=None))
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
