"""Cells into numbers: the whole column at once, cell by cell only by kernels and only where that fails."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Floats
from pipeline.files.written_numbers import plain_signs, ungrouped

_NUMBER = r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,9})?$"
_WITH_COMMA = r"^[+-]?\d*,\d+$"


def numbers(cells: pa.Array, decimal: str) -> tuple[Floats, Flags]:
    """Return (n,) the column's numbers, NaN where there is none, and (n,) which cells hold no finite number."""
    if pa.types.is_integer(cells.type) or pa.types.is_floating(cells.type):
        return _finite(pc.cast(cells, pa.float64(), safe=False), cells)
    if not pa.types.is_string(cells.type):
        cells = pc.cast(cells, pa.string())
    try:
        return _finite(pc.cast(_pointed(cells, decimal), pa.float64()), cells)
    except pa.ArrowInvalid:
        text = _pointed(ungrouped(plain_signs(cells), decimal), decimal)
        good = pc.match_substring_regex(text, _NUMBER)
        return _finite(pc.cast(pc.if_else(good, text, pa.scalar(None, pa.string())), pa.float64()), cells)


def plain_numbers(cells: pa.Array) -> Floats:
    """Return (n,) the numbers of a column of which nobody states the decimal sign: commas where a number has one."""
    comma = pa.types.is_string(cells.type) and pc.any(pc.match_substring_regex(cells, _WITH_COMMA)).as_py()
    return numbers(cells, "," if comma else ".")[0]


def _pointed(cells: pa.Array, decimal: str) -> pa.Array:
    """Return numbers with a decimal point; "" for those with a point beside the decimal commas of a file."""
    if decimal != ",":
        return cells
    if pc.any(pc.match_substring(cells, ".")).as_py():  # a point would be for thousands, or a slip: never guessed
        cells = pc.if_else(pc.match_substring(cells, "."), "", cells)
    return pc.replace_substring(cells, ",", ".")


def _finite(values: pa.Array, cells: pa.Array) -> tuple[Floats, Flags]:
    found = values.to_numpy(zero_copy_only=False)
    finite = np.isfinite(found)
    if finite.all():
        return found, ~finite
    bad = ~finite & cells.is_valid().to_numpy(zero_copy_only=False)
    return np.where(finite, found, np.nan), bad
