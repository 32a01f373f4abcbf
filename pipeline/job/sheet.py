"""A small table of text kept beside the job file, such as the sessions' or the register's CSV."""

import csv
import hashlib
import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.problems import Problems

_NUMBER = re.compile(r"[+-]?([0-9]+([.][0-9]*)?|[.][0-9]+)([eE][+-]?[0-9]+)?")


@dataclass(frozen=True)
class Sheet:
    """A table as written: every cell is text, stripped of blanks around it, and "" where there is none.

    ``columns`` are the header's names in small letters; each of ``rows`` is its line (or a feature's number) and its
    cells by column. ``header`` is the header's line; ``comma`` tells whether a decimal comma is possible.
    """

    shown: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    comma: bool
    sha256: str
    header: int = 1


def number(text: str, comma: bool = False) -> float | None:
    """Return the number that ``text`` writes in digits, or None; with ``comma`` its decimal sign may be a comma."""
    plain = text.replace(",", ".") if comma else text
    value = float(plain) if _NUMBER.fullmatch(plain) else math.nan
    return value if math.isfinite(value) else None


def read_bytes(path: Path, shown: str, problems: Problems) -> bytes | None:
    """Return a file's content, or None and a problem where it cannot be read."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        problems.add(shown, 0, "this file is not there", "a path counts from the job file's folder")
    except OSError as error:
        problems.add(shown, 0, f"this file cannot be read: {error.strerror}")
    return None


def decode(data: bytes, shown: str, problems: Problems) -> str | None:
    """Return UTF-8 text, with or without its byte order mark, or None and a problem with the line that is not."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problems.add(shown, line, "this is not UTF-8 text", "save the file with the encoding UTF-8")
        return None


def read_sheet(path: Path, shown: str, problems: Problems) -> Sheet | None:
    """Read a CSV file in UTF-8 with a header and ``,`` or ``;`` between the cells.

    Empty lines and lines of empty cells are stepped over; a row may leave out cells at its end. Returns None where
    the file cannot be read as a table; what is wrong is added to ``problems``.
    """
    before = len(problems.found)
    data = read_bytes(path, shown, problems)
    text = decode(data, shown, problems) if data is not None else None
    if data is None or text is None:
        return None
    delimiter = _delimiter(text)
    records = list(_records(text, delimiter, shown, problems))
    if not records:
        problems.add(shown, 1, "this table is empty", "its first line names the columns")
        return None
    (header_line, header), *body = records
    columns = tuple(name.casefold() for name in header)
    for name in sorted({name for name in columns if name and columns.count(name) > 1}):
        problems.add(shown, header_line, f"the column '{name}' is there twice", "keep one of them")
    rows = tuple((line, _row(line, cells, columns, shown, problems)) for line, cells in body)
    if len(problems.found) > before:
        return None
    return Sheet(shown, columns, rows, delimiter == ";", hashlib.sha256(data).hexdigest(), header_line)


def _delimiter(text: str) -> str:
    """Return the delimiter that splits the header into more cells."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    return max(",;", key=lambda sign: len(next(csv.reader([header], delimiter=sign), [])))


def _records(text: str, delimiter: str, shown: str, problems: Problems) -> Iterator[tuple[int, list[str]]]:
    """Yield each record that is not empty with the line on which it begins."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            cells = [cell.strip() for cell in next(reader)]
        except StopIteration:
            return
        except csv.Error as error:
            problems.add(shown, line, f"this row cannot be read: {error}", 'mind the quotes: "..." around a cell')
            return
        if any(cells):
            yield line, cells


def _row(line: int, cells: list[str], columns: tuple[str, ...], shown: str, problems: Problems) -> dict[str, str]:
    if any(cells[len(columns) :]):
        problems.add(
            shown,
            line,
            f"this row has {len(cells)} cells, the header {len(columns)}",
            "with a decimal comma the cells are parted by ';', and a cell that holds the delimiter stands in quotes",
        )
    padded = [*cells, *[""] * (len(columns) - len(cells))]
    return dict(zip(columns, padded, strict=False))
