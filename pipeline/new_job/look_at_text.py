"""Looks at the beginning of a text: what has to be stated for the reader to find its header, and what stands in it."""

import codecs
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from msgspec import Struct

from pipeline.files.odd_text import looks_like_data
from pipeline.job.key_values import BLANKS
from pipeline.job.model import Columns, Points
from pipeline.new_job.headings import is_known
from pipeline.new_job.look import BYTES, LINES, ROWS, FileLook, first_texts, first_with_rows
from pipeline.new_job.text_encoding import beginning_of, find_encoding
from pipeline.new_job.text_header import (
    COLUMN_WORDS,
    COMMENT,
    cells_of,
    find_header,
    has_coordinates,
    is_comment,
    is_headed_by_sign,
    sign_before,
    width_of,
)
from pipeline.new_job.two_row_headings import TWO_AND_BELOW, joined_heading
from pipeline.read.delimited import read_delimited
from pipeline.read.delimited_lines import whole_lines
from pipeline.read.dialect import Dialect, find_dialect
from pipeline.read.findings import Unusable
from pipeline.read.raw_batch import Raw
from pipeline.read.skipped_comments import commented


def text_look(path: Path, shown: str, page: str | None) -> FileLook:
    """Return what a text looks like; ``page`` is the code page of its folder's other texts.

    Raises `Unusable` and OSError where it cannot be read.
    """
    encoding, why, pages = find_encoding(path, page)
    beginning = whole_lines(beginning_of(path, encoding))
    lines = beginning[:LINES]
    at, delimiter = find_header(lines)
    if at is None:
        raise Unusable(1, "the file is empty")
    at, joined = _joined(lines, at, delimiter)
    names = cells_of(lines[at], delimiter)
    own = sign_before(lines, at, delimiter)
    names = names[1:] if own else names
    if any("\0" in name for name in names):
        raise Unusable(at + 1, "its header has NUL bytes", "export it again, or remove them")
    stated: dict[str, str | int] = {} if encoding is None else {"encoding": encoding}
    none = (sum(map(is_known, names)) < 2 and looks_like_data(names)) or has_coordinates(names)
    filled = [name for name in names if name]
    numbered = none or bool(joined) or len(set(filled)) < len(filled)
    signed = _signed(beginning, 0 if none else at + 1, delimiter, names)
    comment = True if own else _needs_comment(beginning, at, none, signed)
    header = _Header(at, delimiter, names, none, numbered, comment, own or COMMENT.decode())
    keys, dialect = _dialect(path, shown, header, stated)
    raw = first_with_rows(read_delimited(path, dialect, encoding, BYTES))
    torn = _torn(raw)
    if pages is not None and len(pages.names) > 1 and not all(map(str.isascii, dialect.names)) and "header" not in keys:
        keys["header"] = dialect.header_line  # names that each code page spells otherwise cannot find it
    texts = first_texts(raw, dialect.names)
    two_rows = 0 < len(texts) <= len(joined)
    return FileLook(
        path,
        shown,
        dict(zip(joined, texts.values(), strict=False)) if two_rows else texts,
        header_line=dialect.header_line,
        keys=keys,
        numbered=numbered and not two_rows,
        two_rows=two_rows,
        written=_written(dialect, why),
        pages=pages,
        torn=tuple(torn),
        fault=next(iter(torn.values()), ""),
        blanks=dialect.blanks,
        nuls=_nuls(path) if encoding is None or pages is not None else (),
        above=tuple(line.decode("utf-8", "replace").strip() for line in lines[:at]),
        signed=signed if _has_others(beginning, 0 if none else at + 1) else (),
    )


def _joined(lines: Sequence[bytes], at: int, delimiter: str) -> tuple[int, list[str]]:
    """Return the header's line, and the headings that it and the line beside it give together, if they do."""
    if delimiter == BLANKS:
        return at, []
    for upper in (at - 1, at):
        if upper < 0 or any(map(is_comment, lines[upper : upper + 2])):
            continue
        if joined := joined_heading([cells_of(line, delimiter) for line in lines[upper : upper + TWO_AND_BELOW]]):
            return upper + 1, joined
    return at, []


def _nuls(path: Path) -> tuple[int, ...]:
    """Return the lines of the beginning that hold a NUL, the last of the file too, which has no end then."""
    with path.open("rb") as file:
        beginning = file.read(BYTES)
    if beginning.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return ()  # every other byte of it is one
    lines = re.split(rb"\r\n|\n|\r", beginning)
    return tuple(number for number, line in enumerate(lines, start=1) if b"\0" in line)


def _torn(raw: Raw | None) -> dict[int, str]:
    """Return the lines of the first rows that cannot be taken apart into as many cells as the header has, with why."""
    if raw is None or raw.fault is None:
        return {}
    first = zip(raw.row[:ROWS].tolist(), raw.fault[:ROWS].to_pylist(), strict=True)
    return {line: fault for line, fault in first if fault is not None}


def _signed(lines: Sequence[bytes], header: int, delimiter: str, names: list[str]) -> tuple[int, ...]:
    """Return the lines below the header that begin with the sign of a comment and look like rows."""
    numbered, blanks = list(enumerate(lines, start=1)), delimiter == BLANKS
    sign = "\t" if blanks else delimiter
    return tuple(commented(numbered, COMMENT, sign, blanks, width_of(names), header))


def _has_others(lines: Sequence[bytes], header: int) -> bool:
    """Tell whether any line below the header has no comment's sign before it."""
    return any(line.strip() and not is_comment(line) for line in lines[header:])


def _needs_comment(lines: Sequence[bytes], at: int, none: bool, signed: Sequence[int]) -> bool | None:
    """Tell whether a comment's sign has to be stated: the header has it before it, or lines below that are no rows.

    None where only lines above the header have it, which may be stepped over without. Where lines with the sign may be
    rows it is never stated for those below: it would pass over them.
    """
    if none:
        return False
    if is_comment(lines[at]) and len(lines[at].lstrip(b" \t#")) and not is_headed_by_sign(lines[at]):
        return True
    if any(is_comment(line) for line in lines[at + 1 :]):
        return not signed
    return None


class _Header(Struct, frozen=True):
    """The header of a text as it is found: the lines above it, its delimiter and the names in it.

    ``none`` tells that it is a row already, ``numbered`` that columns go by their numbers; ``comment`` whether the
    ``sign`` of comments has to be stated, None where either may do.
    """

    above: int
    delimiter: str
    names: list[str]
    none: bool
    numbered: bool
    comment: bool | None
    sign: str

    @property
    def line(self) -> int:
        return 0 if self.none else self.above + 1

    def stated(self) -> Iterator[dict[str, str | int]]:
        """Yield the keys that may be stated for the reader to find it, in the order in which they are tried."""
        delimiter: dict[str, str | int] = {"delimiter": self.delimiter}
        line: dict[str, str | int] = {"header": self.line}
        more = [{}, delimiter, line, delimiter | line]
        if self.none:
            more = [line, line | delimiter]
        elif self.numbered:  # which a job file has to say then
            more = [line, delimiter | line]
        if not self.comment:
            yield from more
        if self.comment is not False:
            yield from (each | {"comment": self.sign} for each in more)


def _dialect(
    path: Path, shown: str, header: _Header, stated: dict[str, str | int]
) -> tuple[dict[str, str | int], Dialect]:
    """Return what has to be stated so that the reader finds this header and delimiter, as little as will do.

    Raises `Unusable` where it cannot be read at all.
    """
    once = [name for name in header.names if name and header.names.count(name) == 1]
    known = {} if header.none else dict(zip(COLUMN_WORDS, sorted(once, key=is_known, reverse=True), strict=False))
    wrong: Unusable | None = None
    for each in header.stated():
        keys = stated | each
        block = Points.model_validate({"files": (shown,), "columns": Columns(**known), "decimal": ".", **keys})
        try:
            dialect = find_dialect(path, block)
        except Unusable as error:
            wrong = wrong or error
            continue
        if dialect.header_line == header.line and len(dialect.names) >= width_of(header.names):
            return keys, dialect
    raise wrong or Unusable(header.above + 1, "the header cannot be recognised")


def _written(found: Dialect, why: str) -> str:
    sign = {"\t": "a tab", ",": "','", ";": "';'", "|": "'|'"}.get(found.delimiter, f"'{found.delimiter}'")
    header = "" if found.header_line == 1 else f", header on line {found.header_line}"
    return f"{why}, {sign} between the columns{header}"
