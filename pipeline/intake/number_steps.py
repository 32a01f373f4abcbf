"""Finds the coarse step that a few numbers were rounded to, also where they were converted or moved since.

Such numbers have many digits, yet agree as often as their step makes them.
"""

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.units import METRES

#: Steps [m] of numbers in two or four bytes: also where a constant was added since.
_POWERS = tuple(2.0**power for power in range(1, -10, -1))
#: Parts of tens that numbers are rounded to.
_PARTS = (1.0, 2.0, 4.0)
#: Numbers by which it is seen, the first; the part of the steps between them that must be whole, as some may have been
#: typed; and how many such steps are found by chance at the most. Ours, no source.
_SOME, _WHOLE, _CHANCE = 200, 0.95, 0.02


def coarse_step(values: Floats, metre: float, digit: float, degrees: bool) -> float:
    """Return the coarsest step [m] that (n,) numbers were most likely rounded to; zero where none is to be seen.

    Args:
        values: as given, in any order.
        metre: metres in one of them.
        digit: what their last digit is worth at the finest [m].
        degrees: whether they are degrees.
    """
    known = values[np.isfinite(values)][:_SOME]
    if not len(known):
        return 0.0
    largest = float(np.abs(known).max())
    # both ends of each are rounded to the last digit
    miss = max(digit, 64.0 * float(np.spacing(largest)) * metre, 1e-6)
    return max(_in_few_bytes(known, metre, miss), _between(known, metre, miss, degrees))


def _between(known: Floats, metre: float, miss: float, degrees: bool) -> float:
    """Return the step [m] that (n,) numbers lie apart by a whole number of times, within ``miss``; else zero."""
    between = np.abs(np.diff(known)) * metre
    # what drifts by a digit, as a geoid's slope makes it, is no other step
    between = between[between > 2.0 * miss]
    own = np.diff(np.unique(known)) * metre > 2.0 * miss
    by_chance = 0.0
    for step in _steps(metre, degrees):
        if step <= 4.0 * miss or not own.any():
            break
        off = np.abs(between - step * np.round(between / step))
        by_chance += (2.0 * miss / step) ** np.count_nonzero(own)
        if by_chance > _CHANCE:
            break
        # less than half a step apart, no two numbers are whole steps apart
        if np.mean((off <= miss) & (between > 0.5 * step)) >= _WHOLE:
            return step
    return 0.0


def _in_few_bytes(known: Floats, metre: float, miss: float) -> float:
    """Return the step [m] of (n,) numbers of which each is one that two or four bytes can hold; else zero."""
    for kind in (np.float16, np.float32):
        with np.errstate(over="ignore"):
            few = known.astype(kind)
        if not np.isfinite(few).all():
            continue
        step = float(np.spacing(np.median(np.abs(few)))) * metre
        number = len(np.unique(few))
        off = np.abs(few.astype(np.float64) - known) * metre
        if step > miss and (off <= 0.5 * miss).all() and (miss / step) ** number <= _CHANCE:
            return step
    return 0.0


def _steps(metre: float, degrees: bool) -> list[float]:
    """Return which steps are usual [m], the coarsest first."""
    units = (1.0, 1.0 / 60.0, 1.0 / 3600.0) if degrees else METRES.values()
    tens = [unit * metre * 0.1**power / part for unit in units for power in range(8) for part in _PARTS]
    return sorted({*tens, *(() if degrees else _POWERS)}, reverse=True)
