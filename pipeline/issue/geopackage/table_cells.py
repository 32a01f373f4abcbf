"""The rows of an SQLite table as the cells of its leaf pages, put together column by column.

Source: SQLite's "Database File Format" (https://www.sqlite.org/fileformat2.html), clauses 1.6 "B-tree Pages" and 2.1
"Record Format". A cell is the length of the record, the row's number, and the record: how long the list of its kinds
is, of what kind each column is, and their values. These four are varints: seven bits a byte, the highest first. Values
are as SQLite itself would write them, numbers in as few bytes as hold them.
"""

from itertools import groupby
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Integers
from pipeline.tables import bytes_column, bytes_of

Octets = npt.NDArray[np.uint8]
#: Some bytes of every row: (n, w) where all rows have as many, else a column of them.
Piece: TypeAlias = Octets | pa.Array

#: Kinds of values: none, a double, and 0, after which comes 1; these two have no bytes.
_NONE, _DOUBLE, _ZERO = 0, 7, 8
#: The bytes that whole numbers of the kinds from 1 on have, and the largest of each but the last. Negative ones are
#: counted from -1.
_WIDTHS = np.array([1, 2, 3, 4, 6, 8])
_LARGEST = np.array([(1 << (8 * width - 1)) - 1 for width in (1, 2, 3, 4, 6)])
#: What is added to twice the length of bytes or a text to tell its kind.
_OF_BYTES, _OF_TEXT = 12, 13
_TEXTS = (pa.string(), pa.large_string())
_KNOWN = (pa.int64(), pa.float64(), *_TEXTS, pa.binary(), pa.large_binary())
#: Columns beyond which a row is left to SQLite.
_MOST_COLUMNS = 500


def can_be_cells(schema: pa.Schema) -> bool:
    """Tell whether rows of these columns can be put together here: their number first, all of types known here."""
    return (
        len(schema) < _MOST_COLUMNS and schema.types[0] == pa.int64() and all(kind in _KNOWN for kind in schema.types)
    )


def cells(rows: pa.RecordBatch, largest: int) -> pa.Array | None:
    """Return (n,) the cells of rows, as bytes; None where a record is longer than ``largest`` bytes.

    Args:
        rows: their numbers, positive and ascending, then the columns of their table, as `can_be_cells` wants them.
        largest: the longest record that a page holds by itself.
    """
    kinds = np.zeros((rows.num_rows, rows.num_columns), np.uint16)  # the number stands in the cell, not in the record
    lengths, values = np.zeros(rows.num_rows, np.int64), list[Piece]()
    for number, column in enumerate(rows.columns[1:], 1):
        kinds[:, number], many, piece = _numbers(column) if pa.types.is_primitive(column.type) else _texts(column)
        lengths += many
        values.append(piece)
        if lengths.max(initial=0) > largest:
            return None
    many, head = _varints(kinds)
    many = many + np.where(many < 127, 1, 2)  # the length counts itself
    lengths += many
    if lengths.max(initial=0) > largest:
        return None
    counts = [_varints(one[:, None])[1] for one in (lengths, np.asarray(rows.column(0)), many)]
    return _joined([*counts, head, *values])


def _texts(column: pa.Array) -> tuple[Integers, Integers, Piece]:
    """Return the kinds of texts or bytes, their lengths, and themselves."""
    empty, base = ("", _OF_TEXT) if column.type in _TEXTS else (b"", _OF_BYTES)
    held, offsets = bytes_of(column.fill_null(empty))
    lengths = np.diff(offsets)
    kinds = 2 * lengths + base
    if column.null_count:
        kinds[np.asarray(column.is_null())] = _NONE
    return kinds, lengths, _piece(np.frombuffer(held, np.uint8), lengths)


def _numbers(column: pa.Array) -> tuple[Integers, Integers, Piece]:
    """Return the kinds of numbers, how many bytes they have, and these. A double that is whole is a whole number."""
    values = np.asarray(column.fill_null(np.nan if pa.types.is_floating(column.type) else 0))
    missing = np.isnan(values) if values.dtype == np.float64 else np.asarray(column.is_null())
    whole = ~missing
    if values.dtype == np.float64:
        whole = (values == np.rint(values)) & (np.abs(values) <= _LARGEST[-1])
    kinds, widths = np.full(len(values), _DOUBLE), np.full(len(values), 8)
    bits = values.astype(values.dtype.newbyteorder(">"))
    if whole.any():
        few = values[whole].astype(np.int64)
        least = np.searchsorted(_LARGEST, np.where(few < 0, ~few, few))
        short = (few == 0) | (few == 1)
        kinds[whole], widths[whole] = np.where(short, _ZERO + few, least + 1), np.where(short, 0, _WIDTHS[least])
        bits.view(">i8")[whole] = few
    if missing.any():
        kinds[missing], widths[missing] = _NONE, 0
    return kinds, widths, _piece(_last_bytes(bits.view(np.uint8).reshape(-1, 8), widths), widths)


def child_cells(pages: Integers, rows: Integers) -> pa.Array:
    """Return (n,) the cells above pages, as bytes: the number of each and that of its last row."""
    return _joined([pages.astype(">u4").view(np.uint8).reshape(-1, 4), _varints(rows[:, None])[1]])


def _varints(numbers: npt.NDArray[np.integer[Any]]) -> tuple[Integers, Piece]:
    """Return rows (n, k) of positive numbers as varints: how many bytes each row has, and these."""
    width, count = max(1, -(-int(numbers.max(initial=0)).bit_length() // 7)), numbers.shape[1]
    if width == 1:
        return np.full(len(numbers), count), numbers.astype(np.uint8)
    flat = numbers.reshape(-1)
    octets = np.empty((len(flat), width), np.uint8)
    each = np.ones(len(flat), np.int64)
    for place in range(width):
        octets[:, -1 - place] = (flat >> 7 * place).astype(np.uint8) | np.uint8(0x80)
        each += (flat >> 7 * place) > 0x7F
    octets[:, -1] &= 0x7F
    lengths = each.reshape(numbers.shape).sum(axis=1)
    return lengths, _piece(_last_bytes(octets, each), lengths)


def _last_bytes(octets: Octets, widths: Integers) -> Octets:
    """Return as many bytes of each row of ``octets`` (n, w) as ``widths`` says, the last ones, in one piece."""
    most = octets.shape[1]
    if (widths == most).all():
        return octets.reshape(-1)
    last: Octets = octets[np.arange(most) >= most - widths[:, None]]
    return last


def _piece(octets: Octets, lengths: Integers) -> Piece:
    """Return bytes that stand one behind the other, so many of each row."""
    if len(lengths) and (lengths == lengths[0]).all():
        return octets.reshape(len(lengths), lengths[0])
    return _column(octets, np.cumsum(lengths))


def _column(octets: Octets, ends: Integers) -> pa.Array:
    """Return bytes as a column, each value up to its end."""
    starts = np.append(0, ends).astype(np.int32)
    return pa.Array.from_buffers(pa.binary(), len(ends), [None, pa.py_buffer(starts), pa.py_buffer(octets)])


def _joined(pieces: list[Piece]) -> pa.Array:
    """Return the bytes of each row one behind the other."""
    parts = list[pa.Array]()
    for fixed, group in groupby(pieces, lambda piece: isinstance(piece, np.ndarray)):
        some = list(group)
        parts += [_beside(some)] if fixed else some
    return pc.binary_join_element_wise(*parts, b"") if len(parts) > 1 else parts[0]


def _beside(pieces: list[Octets]) -> pa.Array:
    """Return pieces of which all rows have as many bytes, those of a row one behind the other."""
    there = [np.ascontiguousarray(piece) for piece in pieces if piece.shape[1]]
    layout = np.dtype([(f"{number}", f"V{piece.shape[1]}") for number, piece in enumerate(there)])
    rows = np.empty(len(pieces[0]), layout)
    for name, piece in zip(layout.names or (), there, strict=True):  # a third of the time that octets side by side take
        rows[name] = piece.view(layout[name])[:, 0]
    return bytes_column(rows)
