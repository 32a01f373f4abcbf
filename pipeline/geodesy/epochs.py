"""Times as decimal years, the way PROJ takes a coordinate epoch."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.arrays import Floats

_UNKNOWN = np.iinfo(np.int64).min  # what numpy keeps behind NaT


def decimal_year(milliseconds: ArrayLike) -> Floats:
    """Return UTC milliseconds since 1970-01-01 (or datetime64, floats with NaN) as decimal years.

    Year + (time since the year's first instant) / (length of that year, 365 or 366 days), proleptic Gregorian calendar,
    leap seconds not counted: 2026-07-02 12:00:00 is 2026.5 exactly. What is not a time (NaT, NaN) comes out as NaN.
    """
    moments = _moments(np.asarray(milliseconds))
    year = moments.astype("datetime64[Y]")
    start = year.astype("datetime64[ms]")
    length = (year + 1).astype("datetime64[ms]") - start
    whole = year.astype(np.int64) + 1970.0
    part = (moments - start).astype(np.int64) / np.where(np.isnat(moments), 1, length.astype(np.int64))
    return np.where(np.isnat(moments), np.nan, whole + part)


def _moments(values: NDArray[np.generic]) -> NDArray[np.datetime64]:
    if values.dtype.kind == "M":
        return values.astype("datetime64[ms]")
    if values.dtype.kind == "f":
        known = np.isfinite(values)
        whole = np.where(known, np.round(np.where(known, values, 0.0)), 0.0).astype(np.int64)
        return np.where(known, whole, _UNKNOWN).astype("datetime64[ms]")
    return values.astype(np.int64).astype("datetime64[ms]")
