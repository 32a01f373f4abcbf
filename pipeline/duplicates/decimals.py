"""Resolution of a written reading: the last digit of its coordinates and its time, in metres and by code.

A rounding is kept in a byte: code c means a last digit worth 10^(-c/16) metres, 0 a metre or more, 255 no rounding.
"""

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.sphere import DEGREE

Codes = NDArray[np.uint8]

#: Metres: the coarsest last digit for which two places that agree to it are one place; two rovers stand further apart.
COARSEST = 0.12
#: No rounding that can be seen.
EXACT = 255
_PER_DECADE = 16
#: Rows from which the usual number of decimals is taken, and what a number of 53 bits may be off, as a share of it.
_SAMPLE = 256
_DIGITS = 4 * np.finfo(np.float64).eps
#: Milliseconds that a time may be a whole number of, by the code of its rounding.
TIME_UNITS = np.array([1, 10, 100, 1000], np.int64)


def _decimals(values: Floats, most: int) -> Integers:
    """Return (n,) the fewest decimals that write each value, ``most`` + 1 where more than ``most`` are needed."""
    usual = max((int(_written(values[:_SAMPLE], range(most + 1)).max(initial=0)), 1))
    # nearly all rows have as many as the first ones: only what needs fewer is looked at further
    found = _written(values, range(usual - 1, most + 1))
    few = np.flatnonzero(found == usual - 1)
    found[few] = _written(values[few], range(usual))
    return found


def _written(values: Floats, decimals: range) -> Integers:
    """Return (n,) the first of some numbers of decimals that writes each value, one more than the last where none."""
    found = np.full(len(values), decimals.stop, np.int64)
    left = np.arange(len(values))
    for number in decimals:
        scaled = values[left] * 10.0**number
        near = np.abs(scaled - np.rint(scaled)) <= np.maximum(1e-6, _DIGITS * np.abs(scaled))
        found[left[near]] = number
        left = left[~near]
        if not len(left):
            break
    return found


def _code(decimals: Integers, most: int, metres: float) -> Codes:
    """Return the codes of so many decimals of a unit that is ``metres`` long."""
    exact = _PER_DECADE * (decimals - np.log10(metres))
    return np.where(decimals > most, EXACT, np.clip(np.floor(exact + 1e-9), 0, EXACT - 1)).astype(np.uint8)


def _plan_unit(unit: float | None, sexagesimal: bool) -> tuple[float, int]:
    """Return metres of the unit in which the last digits of a position count, and the most decimals looked for."""
    if unit is not None:
        return unit, 5
    return (DEGREE / 3600.0, 7) if sexagesimal else (DEGREE, 11)


def plan_levels(unit: float | None, sexagesimal: bool) -> Integers:
    """Return (k,) every code that `plan_rounding` may give for a unit, a decimal more each, the coarsest first."""
    metres, most = _plan_unit(unit, sexagesimal)
    return np.unique(_code(np.arange(most + 1), most, metres)).astype(np.int64)


def plan_step(level: int, unit: float | None, sexagesimal: bool) -> float:
    """Return the last digit, metres or degrees, of positions that are written up to the code of a level."""
    metres, _ = _plan_unit(unit, sexagesimal)
    decimals = np.floor((level + 1) / _PER_DECADE + np.log10(metres) - 1e-9)
    return float((unit if unit is not None else 1.0 / 3600.0 if sexagesimal else 1.0) * 10.0**-decimals)


def height_levels(unit: float) -> Integers:
    """Return (k,) every code that `height_rounding` may give, likewise."""
    return np.unique(_code(np.arange(6), 5, unit)).astype(np.int64)


def plan_rounding(first: Floats, second: Floats, unit: float | None, sexagesimal: bool) -> tuple[Codes, Codes]:
    """Return (n,) codes of the rounding of the first and of the second coordinate of positions.

    They are told apart, since an export may cut digits off one of them alone.

    Args:
        first: (n,) degrees or metres.
        second: likewise.
        unit: metres of the unit that the export counts in; None for degrees.
        sexagesimal: the degrees were written as degrees, minutes and seconds.
    """
    per_unit = 1.0 / unit if unit is not None else 3600.0 if sexagesimal else 1.0
    metres, most = _plan_unit(unit, sexagesimal)
    one, other = (_code(_decimals(values * per_unit, most), most, metres) for values in (first, second))
    return one, other


def height_rounding(third: Floats, unit: float) -> Codes:
    """Return (n,) codes of the rounding of heights (n,) in metres, written in a unit of so many metres."""
    return _code(_decimals(third / unit, 5), 5, unit)


def time_rounding(time: Integers) -> Codes:
    """Return (n,) places in `TIME_UNITS`: the longest of them that each time is a whole number of."""
    found: Codes = np.sum([time % unit == 0 for unit in TIME_UNITS[1:]], axis=0, dtype=np.uint8)
    return found


def metres_of(codes: Codes) -> Floats:
    """Return (n,) what the last digit is worth, metres; zero where no rounding can be seen."""
    return np.where(codes == EXACT, 0.0, 10.0 ** (-codes.astype(np.float64) / _PER_DECADE))
