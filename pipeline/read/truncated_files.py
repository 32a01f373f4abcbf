"""Detects a truncated text file: no final line end and an incomplete last row."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.job.model import Points
from pipeline.read.dialect import Dialect
from pipeline.read.findings import SHOWN
from pipeline.read.mapping import TEXTS, mapped, position_of
from pipeline.read.raw_batch import Raw
from pipeline.read.text_blocks import encoding_of
from pipeline.replace import replace
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
#: Words that a column has at most, of which it may be said that they come again and again.
_FEW = 50
#: Rows whose names say what names are like.
_GOOD_NUMBER = 1000
#: A line of so many cells at most may close an export: "END", or "points;38" in a line without a line end.
_CLOSING = 2
#: The beginning of a cell by which it is known again, in signs; a whole number of fewer may be a count of rows.
_KNOWN = 4
#: Bytes at the end of a file in which its last line is looked for.
_TAIL = 4096
#: What is written as somebody likes, or left out: one may be the beginning of another, as K of KERB.
_FREE = frozenset(("code",))
#: What comes from few words that nobody types.
_SET_WORDS = frozenset(("base", "solution"))
_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d*)?\Z")
_DECIMAL = re.compile(r"[-+]?\d+[.,](\d+)\Z")
_TOKEN = re.compile(r"[^\W\d_]+|\d+|.", re.DOTALL)


class _Before(Struct):
    """What the sound rows before the last one have: their last cells, and the beginnings of their lines.

    ``words`` are all the words of the last column, None where they are many; ``filled`` is whether no cell is empty.
    ``rows`` is how many there are, ``name`` what the last one begins with, ``firsts`` and ``seconds`` the first two
    cells of a good number of them at the end, in small letters.
    """

    cells: list[str] = field(default_factory=list)
    words: set[str] | None = field(default_factory=set)
    filled: bool = True
    firsts: set[str] = field(default_factory=set)
    seconds: set[str] = field(default_factory=set)
    rows: int = 0
    name: str | None = None

    def take(self, columns: dict[str, pa.Array]) -> None:
        """Take up rows, in the order of the file."""
        every = list(columns.values())
        if not len(every[-1]):
            return
        self.filled = self.filled and not every[-1].null_count
        self.cells = [*self.cells, *_ending(pc.drop_null(every[-1]), _NUMBERS_MAX).to_pylist()][-_NUMBERS_MAX:]
        if self.words is not None:
            self.words |= set(pc.drop_null(pc.unique(every[-1])).to_pylist())
            self.words = self.words if len(self.words) <= _FEW else None
        if len(every[0]) >= _GOOD_NUMBER:
            self.firsts, self.seconds = set(), set()
        self.firsts |= _lowered(every[0])
        self.seconds |= _lowered(every[1]) if len(every) > 1 else set()
        self.rows, self.name = self.rows + len(every[0]), every[0][-1].as_py()


def _lowered(column: pa.Array) -> set[str]:
    """Return the last cells of a column in small letters, without the empty ones."""
    return {text.casefold() for text in pc.drop_null(_ending(column, _GOOD_NUMBER)).to_pylist()}


def _ending(column: pa.Array, count: int) -> pa.Array:
    return column.slice(max(len(column) - count, 0))


def without_cut_rows(path: Path, points: Points, dialect: Dialect, batches: Iterator[Raw]) -> Iterator[Raw]:
    """Give the rows again; the batch of a last one that the file seems to end within says so.

    That is so where no line end closes it and it has too few cells, or its last cell is shorter than all before it have
    been: a number of fewer decimals, a time of which the rest is missing, the beginning of a base id or of the word of
    a solution, or nothing. Such a number or time that the block ``points`` maps cannot be read; else the row stays as
    it stands.
    """
    if (end := _open_end(path, points.encoding, dialect)) is None:
        yield from batches
        return
    before, last = _Before(), None
    for batch in batches:
        if last is not None:
            before.take(_sound(last))
            yield last
        last = batch
    if last is None:
        return
    yield _judged(last, before, end, points, dialect) if len(last.row) else last


def _judged(batch: Raw, before: _Before, end: str, points: Points, dialect: Dialect) -> Raw:
    """Return the last batch with what its last row, the line ``end``, says of the file's end."""
    if batch.fault is not None and batch.fault[-1].is_valid:
        before.take(_sound(batch))
        return _with_ending(batch) if _breaks_off(end, dialect, before) else batch
    is_last = np.arange(len(batch.row)) == len(batch.row) - 1
    row = {name: column[-1].as_py() for name, column in batch.columns.items()}
    *_, column = batch.columns
    # a cell within quotes, or with the sign that parts cells behind it, is whole
    if end.rstrip().endswith('"') or (not dialect.blanks and end.count(dialect.delimiter) >= len(dialect.names)):
        return batch
    kept = ~is_last if batch.fault is None else ~is_last & batch.fault.is_null().to_numpy(zero_copy_only=False)
    before.take({name: cells.filter(pa.array(kept)) for name, cells in batch.columns.items()})
    words = frozenset(word for word, name in mapped(points.columns).items() if name == column)
    # all signs are there that part its cells, and its position is not: a sum, or the number of rows
    if row[column] is None and _without_position(row, column, points):
        return batch
    what = _missing(row[column], before, words)
    if what is None:
        return batch
    told = f'its last cell "{(row[column] or "")[:SHOWN]}" has {what}'
    name = row.get(str(points.columns.name))
    batch = replace(batch, cut_off=told if name is None else f'the row of "{name[:SHOWN]}", {told}')
    return _unreadable(batch, column, told) if words - TEXTS and row[column] is not None else batch


def _without_position(row: dict[str, str | None], last: str, points: Points) -> bool:
    """Say whether the position of a row is empty that stands before its ``last`` column."""
    columns = mapped(points.columns)
    before = [columns[word] for word in position_of(points.columns).words if columns.get(word, last) != last]
    return bool(before) and all(row[name] is None for name in before)


def _sound(batch: Raw) -> dict[str, pa.Array]:
    """Return the columns of a batch without the rows that could not be taken apart."""
    if batch.fault is None:
        return batch.columns
    return {name: column.filter(batch.fault.is_null()) for name, column in batch.columns.items()}


def _breaks_off(end: str, dialect: Dialect, before: _Before) -> bool:
    """Say whether a last line that cannot be taken apart may have been one: it has too few cells, or an open quote.

    A short line that begins otherwise than the rows do, such as END, a number of rows or a sum, closes an export on
    purpose.
    """
    if end.count('"') % 2:
        return True
    cells = [cell.strip().casefold() for cell in _split(end, dialect)]
    if len(cells) >= len(dialect.names):
        return False
    while len(cells) > 1 and not cells[-1]:
        cells.pop()
    if cells == [str(before.rows)] and not _follows(cells[0], before.name):
        return False
    if len(cells) > _CLOSING or any(_begins_like(cells[0], name) for name in before.firsts):
        return True
    return len(cells) > 1 and _known_again(cells[1], before.seconds)


def _split(line: str, dialect: Dialect) -> list[str]:
    return line.split() if dialect.blanks else line.split(dialect.delimiter)


def _begins_like(part: str, name: str) -> bool:
    """Say whether a cell may be the beginning of a name like this one: of the same letters, or a number as it is."""
    (first, *rest), (its, *others) = _TOKEN.findall(part) or [""], _TOKEN.findall(name) or [""]
    if first.isalpha() and not rest:
        return bool(its.startswith(first))
    if first != its and not (first.isdigit() and its.isdigit()):
        return False
    return not rest or (bool(others) and _kind(rest[0]) == _kind(others[0]))


def _follows(number: str, name: str | None) -> bool:
    """Say whether a number is the next one, as of a row, rather than that of all rows."""
    return name is not None and name.isdecimal() and int(name) + 1 == int(number)


def _kind(token: str) -> str:
    return "a" if token.isalpha() else "9" if token.isdigit() else token


def _known_again(cell: str, before: set[str]) -> bool:
    """Say whether a cell begins as one of those before, and is not just a number."""
    begins = cell[:_KNOWN]
    if not begins or (begins.isdigit() and len(begins) < _KNOWN):
        return False
    return any(each.startswith(begins) for each in before)


def _with_ending(batch: Raw) -> Raw:
    """Return a batch of whose last row, which cannot be taken apart, is said how the file ends."""
    fault = batch.fault
    assert fault is not None
    what = fault[-1].as_py()
    told = f"{what}; no line end follows, so the file may be cut off in it: export or copy the file again"
    is_last = pa.array(np.arange(len(fault)) == len(fault) - 1)
    return replace(batch, fault=pc.if_else(is_last, pa.scalar(told), fault), cut_off=what)


def _missing(last: str | None, rows: _Before, words: frozenset[str]) -> str | None:
    """Say what speaks for the last cell being cut, if anything does; ``words`` are ours for its column."""
    before = rows.cells
    if len(before) < _NUMBERS_MIN:
        return None
    if last is None:
        return "nothing of what all the rows before have" if rows.filled and words - _FREE else None
    if (word := _begun(last, rows, words)) is not None:
        return f'{len(last)} of the {counted(len(word), "character")} of "{word[:SHOWN]}"'
    if len(set(before)) < _DIFFERENT or words & _FREE:
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


def _begun(last: str, rows: _Before, words: frozenset[str]) -> str | None:
    """Return the word that comes again and again of which the last cell is the beginning alone, if there is one.

    Of a column that is not mapped only where it has one word: others may be codes, or remarks.
    """
    found = rows.words
    if found is None or last in found or not (words & _SET_WORDS or (not words and len(found) == 1)):
        return None
    if len(set(rows.cells)) * _AGAIN > len(rows.cells) or any(_NUMBER.match(word) for word in found):
        return None
    return next((word for word in sorted(found) if word.startswith(last)), None)


def _unreadable(batch: Raw, column: str, what: str) -> Raw:
    """Return a batch whose last row cannot be read, as a number or time in its last cell is not whole."""
    rows = len(batch.row)
    sound = pa.array(np.arange(rows) < rows - 1)
    told = f"the file seems cut off in this line, {what}: export or copy the file again"
    fault = batch.fault if batch.fault is not None else pa.nulls(rows, pa.string())
    cells = batch.columns[column]
    columns = {**batch.columns, column: pc.if_else(sound, cells, pa.scalar(None, cells.type))}
    return replace(batch, columns=columns, fault=pc.if_else(sound, fault, pa.scalar(told)))


def _open_end(path: Path, encoding: str | None, dialect: Dialect) -> str | None:
    """Return the last line of a file as far as it is looked at, None where a line end closes it or it is no row."""
    name, _ = encoding_of(path, encoding)
    with path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(max(size - _TAIL, 0) // 4 * 4)  # whole characters of any width
        end = re.split("[\r\n]", file.read().decode(name, errors="replace").rstrip("\0\x1a"))[-1]
    if not end.strip() or (dialect.comment is not None and end.lstrip().startswith(dialect.comment)):
        return None
    return end if any(cell.strip() for cell in _split(end, dialect)) else None
