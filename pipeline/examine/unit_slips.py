"""Tests whether marks and the readings on them differ as they would with numbers in another unit of length [m].

*Off* is metres by which marks lie from the raw readings on them, *other* what they would be off by in the other unit if
the base were right. A base that averaged its own position is off by chance besides.
"""

import math
from typing import NamedTuple

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.register_looks import BASE_OFF
from pipeline.examine.systematic import ALIKE, LEAST, ON_KNOWN

#: Metres in plan: four times what a base that averaged its own position is off by in each direction, and between three
#: and four times that. Common practice, no source.
PLAN_OFF, _BASE = 3.0, 2.5
#: Metres by which heights off have to differ among the marks before that says anything.
_DIFFER = 1.0
#: The parts of what another unit makes that a base may be off besides: surely, and as far as it is nearer to that.
_PART, _NEARER = 1.0 / 3.0, 1.0 / 2.0
#: The variance of one error over that of the middle one of g, for each of the g: that of normal errors.
_MIDDLE = 2.0 / np.pi


def another_foot(off: Floats, other: Floats) -> bool:
    """Tell whether (g, 2) metres east, north look like (g, 2) those of the other foot, and like no base's error.

    Each row is one base's: of many the middle is off by less. A base's error on top of the foot's makes what is found
    the larger, so that as much more of it may be the base's.
    """
    found = _middles(off, other)
    return _may_be(found) and (found.off >= PLAN_OFF / _root(found.bases) or _on_known(found))


def may_be_another_foot(off: Floats, other: Floats) -> bool:
    """Tell the same of (g, 2) metres that may as well be the error of a base along the step between the two feet.

    That of one in twenty that averaged their own positions does, beside a step of 3.5 m.
    """
    return _may_be(_middles(off, other))


class _Middles(NamedTuple):
    """The middle of so many bases [m]: of what they are off, of the other foot's step, and of what is between both."""

    off: float
    step: float
    apart: float
    bases: int


def _middles(off: Floats, other: Floats) -> _Middles:
    known = np.isfinite(off).all(axis=1) & np.isfinite(other).all(axis=1)
    if not known.any():
        return _Middles(0.0, 0.0, math.inf, 0)
    both = (off[known], other[known], (off - other)[known])
    size, step, apart = (float(np.hypot(*np.median(each, axis=0))) for each in both)
    return _Middles(size, step, apart, int(known.sum()))


def _may_be(found: _Middles) -> bool:
    root = _root(found.bases)
    within = max(_PART * found.step, min(_NEARER * max(found.step, found.off), _BASE / root))
    return (found.step >= PLAN_OFF / root and found.apart <= within) or _on_known(found)


def _on_known(found: _Middles) -> bool:
    return found.step >= LEAST and found.apart <= ON_KNOWN


def _root(errors: int) -> float:
    """Return by what factor the middle of so many errors is smaller than one."""
    return float(np.sqrt(max(1.0, _MIDDLE * errors)))


def feet_for_metres(up: Floats, rest: Floats) -> bool:
    """Tell whether (n,) metres up of one session's marks would be ``rest`` with heights in feet, or metres, instead.

    Where the marks have different heights, these tell it, or deny it; else only what no base is off by.
    """
    known = np.isfinite(up) & np.isfinite(rest)
    if not known.any() or abs(float(np.median(rest[known]))) > BASE_OFF:
        return False
    if differ(up):
        return bool(np.ptp(rest[known]) <= ALIKE[1])
    return not differ(rest) and high_for_feet(up, rest)


def differ(up: Floats) -> bool:
    """Tell whether (n,) metres up of one session's marks differ by more than any error that these have in common."""
    known = up[np.isfinite(up)]
    return bool(len(known)) and bool(np.ptp(known) >= _DIFFER)


def high_for_feet(up: Floats, rest: Floats) -> bool:
    """Tell the same of (g,) metres up of as many bases, from nothing but how far their middle is off."""
    known = np.isfinite(up) & np.isfinite(rest)
    if not known.any():
        return False
    middle, least = abs(float(np.median(up[known]))), BASE_OFF / _root(int(known.sum()))
    return middle >= least and abs(float(np.median(rest[known]))) <= min(least, _PART * middle)
