"""Tests whether marks and the readings on them differ as they would with numbers in another unit of length [m].

*Off* is metres by which marks lie from the raw readings on them, *other* what they would be off by in the other unit if
the base were right. A base that averaged its own position is off by chance besides.
"""

import math
from typing import NamedTuple

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.examine.register_looks import BASE_OFF
from pipeline.examine.systematic import ALIKE, LEAST, ON_KNOWN

#: Metres in plan: four times what a base that averaged its own position is off by in each direction, and between three
#: and four times that. Common practice, no source.
PLAN_OFF, _BASE = 3.0, 2.5
#: Metres by which heights off have to differ among the marks before that says anything.
_DIFFER = 1.0
#: Metres of error of a height observed on a mark at the least, in so many of which the height of marks has to be known
#: to say which unit it is in; and metres that bases which averaged their own position are usually off by. Common
#: practice, no source.
_NOISE, _ERRORS, _USUAL = 0.05, 6.0, 5.0
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


def feet_for_metres(up: Floats, rest: Floats, made: Floats) -> bool:
    """Tell whether (n,) metres up of one session's marks would be ``rest`` with heights in feet, or metres, instead.

    Where the marks have different heights, these tell it, or deny it; else only what no base is off by. All n have the
    error of their one base in common. ``made`` (n,) is what the other unit alone makes of each mark's height, metres.
    """
    known = np.isfinite(up) & np.isfinite(rest)
    if not known.any() or abs(float(np.median(rest[known]))) > BASE_OFF:
        return False
    alike = bool(np.ptp(rest[known]) <= ALIKE[1])
    if differ(up):
        return alike
    told = by_heights(up, made, np.zeros(len(up), np.int64))
    if told is not None:
        return told and alike and abs(float(np.median(up[known]))) >= _USUAL
    return not differ(rest) and high_for_feet(*(np.median(each[known], keepdims=True) for each in (up, rest)))


def by_heights(up: Floats, made: Floats, session: Integers) -> bool | None:
    """Tell whether marks of different heights say that (n,) metres up are those of another unit, which ``made`` them.

    What another unit makes (n,) grows with a mark's height, a base's error is the same for all marks of a ``session``
    (n,). So the slope of the metres up over it, within sessions, is 1 for another unit and 0 for the right one. None
    where the heights differ too little, for how their errors scatter, to say which of the two it is.
    """
    known = np.isfinite(up) & np.isfinite(made)
    if not known.any():
        return None
    number = np.unique(session[known], return_inverse=True)[1]
    readings = np.bincount(number)
    off, grows = (each - (np.bincount(number, each) / readings)[number] for each in (up[known], made[known]))
    size = float(np.linalg.norm(grows))
    if size < _ERRORS * _NOISE:
        return None
    slope = float(off @ grows) / size**2
    free = len(off) - len(readings) - 1
    scatter = float(np.linalg.norm(off - slope * grows)) / math.sqrt(free) if free > 0 else 0.0
    near = size >= _ERRORS * max(_NOISE, scatter) and abs(slope - 0.5) >= 0.5 - _PART
    return slope > 0.5 if near else None


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
