"""Detects a truncated text file: no final line end and an incomplete last row."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

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
_DECIMAL = re.compile(r"[-+]?\d+[.,](\d+)\Z")


def without_cut_rows(path: Path, encoding: str | None, batches: Iterator[Raw]) -> Iterator[Raw]:
    """Give the rows again; a last one that the file ends within cannot be read.

    That is so where no line end closes it and its last cell is shorter than all before it have been: a number of fewer
    decimals, or a time of which the rest is missing. Whatever else is missing shows in the count of cells; then it is
    said that no line end closes the row.
    """
    last: Raw | None = None
    before: list[str] = []
    for batch in batches:
        if last is not None:
            before = _cells(last)[-_NUMBERS_MAX:]
            yield last
        last = batch
    if last is None:
        return
    column = list(last.columns.values())[-1]
    if len(column) and column[-1].is_valid and not _ends_in_a_line(path, encoding):
        what = _missing([*before, *_cells(last)][-_NUMBERS_MAX:])
        last = last if what is None else _unreadable(last, what)
    elif last.fault is not None and last.fault[-1].is_valid and not _ends_in_a_line(path, encoding):
        last = _with_ending(last)
    yield last


def _with_ending(batch: Raw) -> Raw:
    """Return a batch of whose last row, which cannot be taken apart, is said how the file ends."""
    fault = batch.fault
    assert fault is not None
    told = f"{fault[-1].as_py()}; no line end follows, so the file may be cut off in it: export or copy the file again"
    is_last = pa.array(np.arange(len(fault)) == len(fault) - 1)
    return replace(batch, fault=pc.if_else(is_last, pa.scalar(told), fault))


def _cells(batch: Raw) -> list[str]:
    """Return the last cells of the last rows of a batch, as far as they have one."""
    column = list(batch.columns.values())[-1]
    found: list[str] = pc.drop_null(column.slice(max(len(column) - _NUMBERS_MAX, 0))).to_pylist()
    return found


def _missing(cells: list[str]) -> str | None:
    """Say what speaks for the last cell being cut, if anything does."""
    *before, last = cells
    if len(before) < _NUMBERS_MIN or len(set(before)) < _DIFFERENT:
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


def _unreadable(batch: Raw, what: str) -> Raw:
    """Return a batch whose last row cannot be read."""
    rows, cell = len(batch.row), list(batch.columns.values())[-1][-1].as_py() or ""
    sound = pa.array(np.arange(rows) < rows - 1)
    told = f'the file is cut off in this line: its last cell "{cell[:SHOWN]}" has {what}; export or copy the file again'
    fault = batch.fault if batch.fault is not None else pa.nulls(rows, pa.string())
    columns = {name: pc.if_else(sound, column, pa.scalar(None, column.type)) for name, column in batch.columns.items()}
    return replace(batch, columns=columns, fault=pc.if_else(sound, fault, pa.scalar(told)))


def _ends_in_a_line(path: Path, encoding: str | None) -> bool:
    """Say whether a line end closes the file."""
    name, _ = encoding_of(path, encoding)
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(size - 4, 0) // 4 * 4)  # whole characters of any width
        end = file.read().decode(name, errors="replace").rstrip("\0\x1a")
    return end.endswith(("\n", "\r"))
