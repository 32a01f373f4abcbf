"""Columns, types and units of the tables that pass between stages and of the layers that are issued.

Lengths are metres, angles degrees, times UTC. A batch of readings has the columns of `READING` followed by the
export's own columns (those that the job file does not map), under their own names.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.letter_case import fold_letters, folded

TIME = pa.timestamp("ms", tz="UTC")
#: What stands between texts that are folded as one: no letter is joined with it.
_BETWEEN = "\0"

#: What `read` gives and `attach`, `correct` and `issue` take: one row per row of an export, in the export's order.
READING = pa.schema(
    [
        ("name", pa.string()),
        ("code", pa.string()),
        ("time", TIME),  # null where there is none or it could not be read
        ("time_end", TIME),
        ("first", pa.float64()),  # longitude, easting or X in source.crs; NaN where unknown
        ("second", pa.float64()),  # latitude, northing or Y
        ("third", pa.float64()),  # ellipsoidal height, height or Z
        ("sigma_east", pa.float64()),  # NaN where the export has none
        ("sigma_north", pa.float64()),
        ("sigma_up", pa.float64()),
        ("cov_en", pa.float64()),  # covariances between east, north and up; square metres, NaN where there is none
        ("cov_eu", pa.float64()),
        ("cov_nu", pa.float64()),
        ("solution", pa.string()),
        ("base", pa.string()),
        ("base_first", pa.float64()),  # the base's position as the export has it, in source.crs; NaN where it has none
        ("base_second", pa.float64()),
        ("base_third", pa.float64()),
        ("mark", pa.string()),
        ("antenna_height", pa.float64()),
        ("satellites", pa.float64()),
        ("pdop", pa.float64()),
        ("correction_age", pa.float64()),
        ("held", pa.uint8()),  # 0, or words.reason_code of what reading found wrong
        ("detail", pa.string()),  # what was wrong, in words with the text found; null where nothing
        ("source_row", pa.int64()),  # line of the text file (header is line 1), feature number otherwise
    ]
)


def milliseconds(batch: pa.RecordBatch | pa.Table) -> Integers:
    """Return (n,) observed times of readings, UTC milliseconds since 1970; -1 where there is none."""
    return np.asarray(pc.fill_null(batch.column("time").cast(pa.int64()), -1)).astype(np.int64)


def has_text(column: pa.Array) -> Flags:
    """Return (n,) which texts are there and not empty."""
    return np.asarray(pc.fill_null(pc.greater(pc.binary_length(column), 0), False), bool)


def folded_column(texts: pa.Array | pa.ChunkedArray) -> pa.Array:
    """Return (n,) texts as they are compared, each as `letter_case.folded` has it; null stays."""
    trimmed = pc.utf8_trim_whitespace(texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts)
    small, other = pc.ascii_lower(trimmed), pc.fill_null(pc.invert(pc.string_is_ascii(trimmed)), False)
    return pc.replace_with_mask(small, other, _folded(trimmed.filter(other))) if pc.any(other).as_py() else small


def _folded(texts: pa.Array) -> pa.Array:
    """Return (n,) texts as they are compared: folded as one text, as a step of Python for each takes longer."""
    one = pa.ListArray.from_arrays(pa.array([0, len(texts)], pa.int32()), texts)
    found = fold_letters(pc.binary_join(one, _BETWEEN)[0].as_py()).split(_BETWEEN)
    if len(found) != len(texts):  # one of them has that sign itself
        found = [folded(text) for text in texts.to_pylist()]
    return pa.array(found, texts.type)


def flags_of(column: pa.Array) -> Flags:
    """Return (n,) a column of yes and no; null is no."""
    return np.array(pc.fill_null(column, False).to_numpy(zero_copy_only=False), bool)


def each_once(column: pa.Array, look: Callable[[pa.Array], NDArray[Any]]) -> NDArray[Any]:
    """Return (n,) what a look says of every text of a column that has few different ones, which are looked at once."""
    coded = pc.dictionary_encode(column, null_encoding="encode")
    found: NDArray[Any] = look(coded.dictionary)[np.asarray(coded.indices)]
    return found


def number_column(values: Floats) -> pa.Array:
    """Return (n,) numbers as a column; what is not finite is null."""
    return pa.array(values, pa.float64(), mask=~np.isfinite(values))


def iso_texts(column: pa.Array) -> pa.StringArray:
    """Return times as ISO 8601 to the millisecond, with a Z where they are said to be UTC; a null stays one."""
    texts = pc.replace_substring(column.cast(pa.timestamp("ms")).cast(pa.string()), " ", "T")
    return texts if column.type.tz is None else pc.binary_join_element_wise(texts, "Z", "")


def bytes_of(column: pa.Array) -> tuple[memoryview, Integers]:
    """Return the bytes of a column of texts or bytes, one value behind the other, and where each begins (n + 1,).

    A null is mostly of no bytes; Arrow promises nothing.
    """
    _, starts, values = column.buffers()
    if len(column) == 0 or starts is None or values is None:
        return memoryview(b""), np.zeros(len(column) + 1, np.int64)
    large = pa.types.is_large_string(column.type) or pa.types.is_large_binary(column.type)
    width = np.dtype(np.int64 if large else np.int32)
    offsets = np.frombuffer(starts, width, len(column) + 1, column.offset * width.itemsize).astype(np.int64)
    return memoryview(values)[offsets[0] : offsets[-1]], offsets - offsets[0]


def bytes_column(records: NDArray[Any], present: Flags | None = None) -> pa.BinaryArray:
    """Return (n,) records of one packed layout as a column of their bytes; null where one is not ``present``."""
    offsets = np.arange(len(records) + 1, dtype=np.int32) * np.int32(records.dtype.itemsize)
    validity = None if present is None or present.all() else pa.py_buffer(np.packbits(present, bitorder="little"))
    return pa.Array.from_buffers(pa.binary(), len(records), [validity, pa.py_buffer(offsets), pa.py_buffer(records)])
