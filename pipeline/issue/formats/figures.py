"""Numbers and times as the text formats bear them, so that all of them say the same.

Issued lengths are given to a tenth of a millimetre and issued angles to ten decimals of a degree (a hundredth of a
millimetre): what lies beyond is arithmetic and no survey. Everything that the export brought keeps every digit it has.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.arrays import Floats

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
    """Return numbers rounded to so many decimals, NaN as it is, and no minus zero."""
    return np.asarray(np.round(np.asarray(values, np.float64), decimals) + 0.0, np.float64)


def fixed(values: npt.ArrayLike, decimals: int) -> list[str]:
    """Return finite numbers as text with exactly so many decimals."""
    form = f"%.{decimals}f"
    return [form % value for value in rounded(values, decimals).tolist()]


def floats(column: pa.Array) -> Floats:
    """Return a numeric column, NaN where it is null."""
    return np.asarray(column.cast(pa.float64()).to_numpy(zero_copy_only=False), np.float64)


def moments(column: pa.Array) -> list[str | None]:
    """Return a column of times as ISO 8601 to the millisecond, with a Z where it is in UTC."""
    ending = "Z" if column.type.tz is not None else ""
    texts = np.datetime_as_string(column.cast(pa.timestamp("ms")).to_numpy(zero_copy_only=False), unit="ms").tolist()
    known = column.is_valid().to_pylist()
    return [text + ending if there else None for text, there in zip(texts, known, strict=True)]


def plain(name: str, column: pa.Array) -> list[Any]:
    """Return a column as JSON has it: None, text, whole numbers, numbers, booleans; times and dates as ISO 8601 text.

    A number that is not finite is None. Issued figures are rounded (see `DECIMALS`).
    """
    if pa.types.is_timestamp(column.type):
        return moments(column)
    if pa.types.is_floating(column.type):
        values = floats(column)
        values = rounded(values, DECIMALS[name]) if name in DECIMALS else values
        finite = np.isfinite(values).tolist()
        return [value if known else None for value, known in zip(values.tolist(), finite, strict=True)]
    if pa.types.is_date(column.type):
        return [None if day is None else day.isoformat() for day in column.to_pylist()]
    return list(column.to_pylist())
