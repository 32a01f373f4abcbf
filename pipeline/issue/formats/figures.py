"""Numbers and times as the text formats bear them, so that all of them say the same.

Issued lengths are given to a tenth of a millimetre and issued angles to ten decimals of a degree (a hundredth of a
millimetre): what lies beyond is arithmetic and no survey. Everything that the export brought keeps every digit it has.
"""

from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Floats, Integers
from pipeline.tables import iso_texts

#: Digits that are looked up together.
_KNOWN = 4

#: Numbers of last decimals up to which a double tells each from the next.
_EXACT = 1e15

#: Decimals of a metre and of a degree.
LENGTHS, ANGLES = 4, 10

#: The columns of ``points`` that the job worked out, and their decimals; no column of an export bears these names.
DECIMALS = {
    "easting": LENGTHS,
    "northing": LENGTHS,
    "height": LENGTHS,
    "ellipsoid_height": LENGTHS,
    "longitude": ANGLES,
    "latitude": ANGLES,
    "hu95": LENGTHS,
    "vu95": LENGTHS,
}


def rounded(values: npt.ArrayLike, decimals: int) -> Floats:
    """Return numbers of any shape rounded to so many decimals, NaN as it is, and no minus zero."""
    return np.asarray(np.round(np.asarray(values, np.float64), decimals) + 0.0, np.float64)


def fixed(values: npt.ArrayLike, decimals: int) -> list[str]:
    """Return (n,) finite numbers as text with exactly so many decimals."""
    form = f"%.{decimals}f"
    return [form % value for value in rounded(values, decimals).tolist()]


def fixed_column(values: npt.ArrayLike, decimals: int) -> pa.StringArray:
    """Return (n,) finite numbers as `fixed` does, as a column: made of whole numbers, at a tenth of the time."""
    scaled = np.rint(np.asarray(values, np.float64) * 10.0**decimals)
    if not (np.abs(scaled) < _EXACT).all():
        return pa.array(fixed(values, decimals), pa.string())
    whole, part = np.divmod(np.abs(scaled).astype(np.int64), 10**decimals)
    texts = joined(pa.array(whole).cast(pa.string()), ".", _digits(part, decimals))
    below = scaled < 0
    return joined(pc.if_else(pa.array(below), "-", ""), texts) if below.any() else texts


def fixed_or(values: Floats, decimals: int, otherwise: str) -> pa.StringArray:
    """Return (n,) numbers as `fixed_column` does, and a text for one that is not finite."""
    known = np.isfinite(values)
    return pc.if_else(pa.array(known), fixed_column(np.where(known, values, 0.0), decimals), otherwise)


def _digits(numbers: Integers, places: int) -> pa.StringArray:
    """Return numbers as text of so many digits."""
    if places <= _KNOWN:
        return _known(places).take(pa.array(numbers))
    high, low = np.divmod(numbers, 10**_KNOWN)
    return joined(_digits(high, places - _KNOWN), _known(_KNOWN).take(pa.array(low)))


@cache
def _known(places: int) -> pa.StringArray:
    return pa.array([f"{number:0{places}d}" for number in range(10**places)], pa.string())


def joined(*pieces: pa.StringArray | str) -> pa.StringArray:
    """Return texts put together of columns, and of texts that are the same in every row; a null makes a null."""
    return pc.binary_join_element_wise(*(pa.scalar(one) if isinstance(one, str) else one for one in pieces), "")


def floats(column: pa.Array) -> Floats:
    """Return a numeric column as (n,) floats, NaN where it is null."""
    return np.asarray(column.cast(pa.float64()).to_numpy(zero_copy_only=False), np.float64)


def plain(name: str, column: pa.Array) -> list[Any]:
    """Return a column as JSON has it: None, text, whole numbers, numbers, booleans; times and dates as ISO 8601 text.

    A number that is not finite is None. Issued figures are rounded (see `DECIMALS`).
    """
    if pa.types.is_timestamp(column.type):
        return list(iso_texts(column).to_pylist())
    if pa.types.is_floating(column.type):
        values = floats(column)
        values = rounded(values, DECIMALS[name]) if name in DECIMALS else values
        finite = np.isfinite(values).tolist()
        return [value if known else None for value, known in zip(values.tolist(), finite, strict=True)]
    if pa.types.is_date(column.type):
        return [None if day is None else day.isoformat() for day in column.to_pylist()]
    return list(column.to_pylist())
