"""Whether marks are off the readings on them as they would be if numbers were in another unit of length.

*Off* is metres by which marks lie from the raw readings on them, *other* what they would be off by in the other unit if
the base were right. A base that averaged its own position is off by chance besides.
"""

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.register_looks import BASE_OFF
from pipeline.examine.systematic import ALIKE, LEAST, ON_KNOWN

#: Metres in plan: four times what a base that averaged its own position is off by in each direction. Common practice,
#: no source.
PLAN_OFF = 3.0
#: Metres by which heights off have to differ among the marks before that says anything.
_DIFFER = 1.0
#: The part of what another unit makes that a base may be off besides.
_PART = 1.0 / 3.0


def another_foot(off: Floats, other: Floats) -> bool:
    """Tell whether (n, 2) metres east, north look like (n, 2) those of the other foot, and like no base's error."""
    known = np.isfinite(off).all(axis=1) & np.isfinite(other).all(axis=1)
    if not known.any():
        return False
    size = float(np.hypot(*np.median(other[known], axis=0)))
    apart = float(np.hypot(*np.median((off - other)[known], axis=0)))
    return (size >= PLAN_OFF and apart <= _PART * size) or (size >= LEAST and apart <= ON_KNOWN)


def feet_for_metres(up: Floats, other: Floats) -> bool:
    """Tell whether (n,) metres up look like (n,) those of heights in feet, or in metres, instead.

    Where the marks have different heights, these tell it; else only what no base is off by.
    """
    known = np.isfinite(up) & np.isfinite(other)
    if not known.any():
        return False
    rest, middle = (up - other)[known], float(np.median(up[known]))
    if abs(float(np.median(rest))) > BASE_OFF:
        return False
    if np.ptp(up[known]) >= _DIFFER:
        return bool(np.ptp(rest) <= ALIKE[1])
    return abs(middle) >= BASE_OFF and abs(float(np.median(rest))) <= _PART * abs(middle)
