"""Finds lines skipped as comments that look like rows: names such as "#12" begin with the comment sign too."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from msgspec import Struct

from pipeline.files.workbook import WORKBOOKS
from pipeline.job.model import Points
from pipeline.read.comment_lines import comment_lines, comments_of, said_in
from pipeline.read.delimited_lines import plain_lines
from pipeline.read.dialect import Dialect, find_dialect
from pipeline.read.findings import Unusable
from pipeline.read.mapping import fitted
from pipeline.read.records import Stray, Unclosed, cells
from pipeline.read.repeated_headings import NOT_AS_ABOVE, SPLIT, Heading, heading_of
from pipeline.read.sources import TEXT
from pipeline.read.spreadsheet import commented_rows

#: So many cells of a row are numbers, at least: those of its position.
_NUMBERS = 2
_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)")


class PassedOver(Struct, frozen=True):
    """How many lines look like rows and are passed over as comments, and which is the first."""

    count: int
    row: int


def passed_over(path: Path, points: Points) -> PassedOver | None:
    """Return what of an export's rows the block's ``comment`` passes over; None where that is nothing.

    Raises `Unusable` and OSError where the file cannot be read, `Unusable` also where a heading that is passed over
    names the columns in another way than the first.
    """
    if points.comment is None:
        return None
    if path.suffix.lower() in WORKBOOKS:
        found = [row for row, texts, columns in commented_rows(path, points) if is_row(texts, columns)]
    elif path.suffix.lower() in TEXT:
        found = list(_of_text(path, find_dialect(path, points), points))
    else:
        return None
    return PassedOver(len(found), found[0]) if found else None


def _of_text(path: Path, dialect: Dialect, points: Points) -> Iterator[int]:
    """Yield the numbers of the lines below the header that are passed over and look like rows."""
    sign, first = (points.comment or "").encode(), heading_of(fitted(points, dialect.names), dialect.names)
    for number, line in comment_lines(path, points, dialect.header_line):
        _check_heading(number, said_in(line, sign), dialect, first)
        if _may_be_row(line, sign, dialect.delimiter, dialect.blanks, len(dialect.names)):
            yield number


def _check_heading(number: int, text: bytes, dialect: Dialect, first: Heading) -> None:
    """Raise `Unusable` where a line that is passed over, ``text`` without its sign, is a heading not as the first."""
    found = _cells(text, dialect.delimiter, dialect.blanks)
    if first.names is not None and first.is_known(found) and (what := first.differs(found)):
        raise Unusable(number, f"{NOT_AS_ABOVE}: {what}", SPLIT)


def commented(
    lines: Iterable[tuple[int, bytes]], sign: bytes, delimiter: str, blanks: bool, columns: int, header: int
) -> Iterator[int]:
    """Yield the numbers of those lines below the header that begin with a comment's sign and look like rows."""
    for number, line in comments_of(lines, sign, header):
        if _may_be_row(line, sign, delimiter, blanks, columns):
            yield number


def _may_be_row(line: bytes, sign: bytes, delimiter: str, blanks: bool, columns: int) -> bool:
    """Tell whether a comment looks like a row, with its sign or without: where blanks part cells it may stand alone."""
    return any(is_row(_cells(text, delimiter, blanks), columns) for text in (line, said_in(line, sign)))


def is_row(texts: list[str], columns: int) -> bool:
    """Tell whether cells are as many as the header's, half of them filled, with numbers for a position among them."""
    while len(texts) > columns and not texts[-1]:
        texts = texts[:-1]
    numbers, filled = sum(_NUMBER.fullmatch(text) is not None for text in texts), sum(map(bool, texts))
    return len(texts) == columns <= 2 * filled and numbers >= _NUMBERS


def _cells(line: bytes, delimiter: str, blanks: bool) -> list[str]:
    try:
        parted = cells(plain_lines(line, None, blanks), delimiter.encode())
    except (Stray, Unclosed):
        return []
    return [cell.decode("utf-8", "replace").strip() for cell in parted]
