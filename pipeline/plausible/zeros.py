"""Finds heights of exactly zero among heights written to the millimetre."""

import math

from pipeline.plausible.heights import Fence

#: Share of the readings between two heights a metre apart, around the middle of heights of which half lie within a
#: metre: that of a normal distribution, and of what lies beyond the fences the most that it may be there.
_DENSITY, _BEYOND = 0.54, 0.02
#: Metres of the last digit from which on a zero says nothing.
_COARSEST = 0.1


def zeros_by_chance(zeros: int, readings: int, digit: float, around: Fence) -> float:
    """Return the chance that so many of the readings of a session have a height of exactly zero, 1 at the most.

    Args:
        zeros: how many have it.
        readings: of all.
        digit: metres of the last digit that heights are written with.
        around: the fence around those that have another.
    """
    if digit > _COARSEST:
        return 1.0
    inside = around.low <= 0.0 <= around.high
    density = (_DENSITY if inside else _BEYOND) / max(around.spread, digit)
    expected = readings * min(density * digit, 1.0)
    # so many or more of a Poisson distribution: the first term bounds it
    log = zeros * math.log(max(expected, 1e-300)) - math.lgamma(zeros + 1)
    return math.exp(min(log, 0.0))
