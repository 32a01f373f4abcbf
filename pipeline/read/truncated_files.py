"""Detects a truncated text file: no final line end and an incomplete last row."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.read.dialect import Dialect
from pipeline.read.findings import SHOWN
from pipeline.read.raw_batch import Raw
from pipeline.read.text_blocks import encoding_of
from pipeline.words import counted

#: Cells before the last one that say what it should look like: at least, and at most. Where noughts at the end are left
#: out, nine of ten numbers have as many decimals: of twenty hardly ever all.
_NUMBERS_MIN, _NUMBERS_MAX = 20, 50
#: So many of them differ at least: one value for all rows may be followed by another.
_DIFFERENT = 5
#: Of numbers with so many decimals each a whole one is hardly ever written without.
_FIXED = 2
#: A word comes again and again that stands in so many cells, on the average.
_AGAIN = 4
#: A line of so many cells at most may close an export: "END", or "points;38" in a line without a line end.
_CLOSING = 2
#: Bytes at the end of a file in which its last line is looked for.
_TAIL = 4096
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d*)?\Z")
_DECIMAL = re.compile(r"[-+]?\d+[.,](\d+)\Z")


def without_cut_rows(path: Path, encoding: str | None, dialect: Dialect, batches: Iterator[Raw]) -> Iterator[Raw]:
    """Give the rows again; a last one that the file ends within cannot be read, and its batch says so.

    That is so where no line end closes it and its last cell is shorter than all before it have been: a number of fewer
    decimals, a time of which the rest is missing, the beginning of a word that comes again and again, or nothing.
    Whatever else is missing shows in the count of cells; then it is said that no line end closes the row.
    """
    last: Raw | None = None
    before: list[str | None] = []
    names: list[str] = []
    for batch in batches:
        if last is not None:
            before, names = _cells(last), _names(last)
            yield last
        last = batch
    if last is None:
        return
    if len(last.row) and (end := _open_end(path, encoding)) is not None:
        if last.fault is not None and last.fault[-1].is_valid:
            last = _with_ending(last) if _breaks_off(end, dialect, [*names, *_names(last)]) else last
        elif (what := _missing([*before, *_cells(last)][-_NUMBERS_MAX:])) is not None:
            last = _unreadable(last, what)
    yield last


def _breaks_off(end: str, dialect: Dialect, names: list[str]) -> bool:
    """Say whether a last line that cannot be taken apart may have been one: it has too few cells, or an open quote.

    A word that no row begins like, such as END, closes an export on purpose.
    """
    if end.count('"') % 2:
        return True
    cells = end.split() if dialect.blanks else end.split(dialect.delimiter)
    if len(cells) >= len(dialect.names):
        return False
    first = cells[0].strip().casefold()[:1]
    closes = len(cells) <= _CLOSING and first.isalpha() and names and first not in {name[:1] for name in names}
    return not closes


def _with_ending(batch: Raw) -> Raw:
    """Return a batch of whose last row, which cannot be taken apart, is said how the file ends."""
    fault = batch.fault
    assert fault is not None
    told = f"{fault[-1].as_py()}; no line end follows, so the file may be cut off in it: export or copy the file again"
    is_last = pa.array(np.arange(len(fault)) == len(fault) - 1)
    return replace(batch, fault=pc.if_else(is_last, pa.scalar(told), fault), cut_off=True)


def _cells(batch: Raw) -> list[str | None]:
    """Return the last cells of the last sound rows of a batch, None where one is empty."""
    column = list(batch.columns.values())[-1]
    sound = column if batch.fault is None else column.filter(batch.fault.is_null())
    found: list[str | None] = sound.slice(max(len(sound) - _NUMBERS_MAX, 0)).to_pylist()
    return found


def _names(batch: Raw) -> list[str]:
    """Return what rows of a batch begin with, in small letters."""
    return [text.casefold() for text in pc.drop_null(next(iter(batch.columns.values()))).to_pylist()]


def _missing(cells: list[str | None]) -> str | None:
    """Say what speaks for the last cell being cut, if anything does."""
    *there, last = cells
    before = [cell for cell in there if cell is not None]
    if len(before) < _NUMBERS_MIN:
        return None
    if last is None:
        return None if len(before) < len(there) else "nothing of what all the rows before have"
    if (word := _begun(last, before)) is not None:
        return f'{len(last)} of the {counted(len(word), "character")} of "{word[:SHOWN]}"'
    if len(set(before)) < _DIFFERENT:
        return None
    decimals = {len(match[1]) if (match := _DECIMAL.match(cell)) else None for cell in before}
    if len(decimals) == 1 and (usual := decimals.pop()) is not None:
        match = re.fullmatch(r"[-+]?\d+(?:([.,])(\d*))?", last)
        if match is None or (match[1] is None and usual < _FIXED):
            return None
        has = len(match[2] or "")
        return f"{has} of the {counted(usual, 'decimal')} that the rows before have" if has < usual else None
    looks = {re.sub(r"\d", "9", cell) for cell in before}
    look = looks.pop()
    if looks or "9" not in look or look.isdecimal():  # a whole number of fewer figures is one
        return None
    part = re.sub(r"\d", "9", last)
    cut = len(part) < len(look) and look.startswith(part)
    return f"{len(part)} of the {counted(len(look), 'character')} that the rows before have" if cut else None


def _begun(last: str, before: list[str]) -> str | None:
    """Return the word, one of few that come again and again, of which the last cell is the beginning alone."""
    words = Counter(before)
    if last in words or len(words) * _AGAIN > len(before) or any(_NUMBER.match(word) for word in words):
        return None
    return next((word for word in words if word.startswith(last)), None)


def _unreadable(batch: Raw, what: str) -> Raw:
    """Return a batch whose last row cannot be read."""
    rows, cell = len(batch.row), list(batch.columns.values())[-1][-1].as_py() or ""
    sound = pa.array(np.arange(rows) < rows - 1)
    told = f'the file is cut off in this line: its last cell "{cell[:SHOWN]}" has {what}; export or copy the file again'
    fault = batch.fault if batch.fault is not None else pa.nulls(rows, pa.string())
    columns = {name: pc.if_else(sound, column, pa.scalar(None, column.type)) for name, column in batch.columns.items()}
    return replace(batch, columns=columns, fault=pc.if_else(sound, fault, pa.scalar(told)), cut_off=True)


def _open_end(path: Path, encoding: str | None) -> str | None:
    """Return the last line of a file as far as it is looked at, None where a line end closes it."""
    name, _ = encoding_of(path, encoding)
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(size - _TAIL, 0) // 4 * 4)  # whole characters of any width
        end = file.read().decode(name, errors="replace").rstrip("\0\x1a")
    return None if end.endswith(("\n", "\r")) else re.split("[\r\n]", end)[-1]
