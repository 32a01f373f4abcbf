"""What a layer holds, as one sum per column: the same for the same values, however they are stored or cut into batches.

A GeoPackage that a viewer has opened may have other bytes than when it was issued and still say the same; by these
sums the two are told apart. They are taken from the batches while they stream past to the writer, and later from the
file itself.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from functools import cache, partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.tables import bytes_of

#: Hexadecimal digits kept of a column's SHA-256: 64 bits find any change that was not made to go unnoticed.
_DIGITS = 16


class Content:
    """Sums the columns of one layer, batch by batch; memory does not grow with the rows.

    ``kinds`` are the columns' types by name. Text counts alike whether it is string, large_string or a dictionary of
    them, whole numbers alike in every size, and NaN as null, because a GeoPackage stores it as NULL.

    Raises TypeError for a column of any other kind than numbers, booleans, text, bytes, dates and times to the
    millisecond.
    """

    def __init__(self, kinds: Mapping[str, pa.DataType]) -> None:
        self.rows = 0
        self._columns = {name: _Column(name, kind) for name, kind in kinds.items()}

    def add(self, batch: pa.RecordBatch) -> None:
        """Take in the next rows: a batch that has these columns."""
        self.rows += batch.num_rows
        if not batch.num_rows:
            return
        for name, column in self._columns.items():
            column.add(batch.column(name))

    def sums(self) -> dict[str, str]:
        """Return the sum of each column, in hexadecimal."""
        return {name: column.sum() for name, column in self._columns.items()}


def together(sums: Mapping[str, str]) -> str:
    """Return one SHA-256, in hexadecimal, for the names, the order and the sums of a layer's columns."""
    return hashlib.sha256(json.dumps(list(sums.items()), ensure_ascii=False).encode()).hexdigest()


class _Column:
    """The values of one column and where it has none, each in a sum of its own, so that no batch's end shows."""

    def __init__(self, name: str, kind: pa.DataType) -> None:
        if pa.types.is_dictionary(kind):
            kind = kind.value_type
        if (found := _family(kind)) is None:
            raise TypeError(f"column {name} is of type {kind}, for which an issue has no sum")
        family, self._values = found
        self._sums = (hashlib.sha256(family.encode()), hashlib.sha256(), hashlib.sha256())

    def add(self, column: pa.Array) -> None:
        column = column.storage if isinstance(column, pa.ExtensionArray) else column
        column = column.dictionary_decode() if pa.types.is_dictionary(column.type) else column
        for known, piece in zip(self._sums, self._values(column), strict=False):
            known.update(piece)

    def sum(self) -> str:
        return hashlib.sha256(b"".join(known.digest() for known in self._sums)).hexdigest()[:_DIGITS]


_Pieces = tuple[Any, ...]


@cache
def _family(kind: pa.DataType) -> tuple[str, Callable[[pa.Array], _Pieces]] | None:
    """Return what a type's values are called here, and the function that gives their bytes."""
    if pa.types.is_floating(kind) or pa.types.is_decimal(kind) or pa.types.is_uint64(kind):
        return "number", _numbers  # a GeoPackage has no whole number so large, nor any decimal
    if pa.types.is_integer(kind):
        return "whole", partial(_filled, (pa.int64(),))
    if pa.types.is_boolean(kind):
        return "whether", partial(_filled, (pa.uint8(),))
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        return "text", _texts
    if pa.types.is_binary(kind) or pa.types.is_large_binary(kind):
        return "bytes", _bytes
    if pa.types.is_timestamp(kind) and kind.unit in ("s", "ms"):  # GDAL rounds what is finer in its own way
        return "moment", partial(_filled, (pa.timestamp("ms", kind.tz), pa.int64()))
    if pa.types.is_date32(kind):
        return "date", partial(_filled, (pa.int32(), pa.int64()))
    return None


def _numbers(column: pa.Array) -> _Pieces:
    column = column if pa.types.is_float64(column.type) else column.cast(pa.float64(), safe=False)
    values = np.asarray(column.to_numpy(zero_copy_only=False), np.float64)
    values = values + 0.0  # SQLite keeps no minus zero
    absent = np.isnan(values)
    if absent.any():
        values[absent] = 0.0
    return values, ~absent


def _filled(kinds: tuple[pa.DataType, ...], column: pa.Array) -> _Pieces:
    """Return the values of a column that is taken for numbers by so many casts, 0 where there is none."""
    for kind in kinds:
        column = column.cast(kind)
    filled = pc.fill_null(column, 0) if column.null_count else column
    return np.ascontiguousarray(filled.to_numpy(zero_copy_only=False)), _present(column)


def _texts(column: pa.Array) -> _Pieces:
    """Return the bytes and lengths of texts as a GeoPackage keeps them: GDAL ends each where it has a NUL."""
    pieces = _bytes(column)
    if np.frombuffer(pieces[0], np.uint8).min(initial=1) > 0:
        return pieces
    return _bytes(pc.replace_substring_regex(column, r"(?s)\x00.*", ""))


def _bytes(column: pa.Array) -> _Pieces:
    """Return the bytes of all texts together, and the length of each; a null has the length -1."""
    held, starts = bytes_of(column)
    lengths = starts[1:] - starts[:-1]
    if column.null_count:
        absent = ~_present(column)
        if lengths[absent].any():
            held, _ = bytes_of(pc.fill_null(column, ""))
        lengths[absent] = -1
    return held, lengths.astype("<i8", copy=False)


def _present(column: pa.Array) -> npt.NDArray[np.bool_]:
    if not column.null_count:
        return np.ones(len(column), bool)
    there: npt.NDArray[np.bool_] = column.is_valid().to_numpy(zero_copy_only=False)
    return there
