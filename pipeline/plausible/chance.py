"""Bounds the probability of a count by chance, without a table of a distribution."""

import math


def log_of_so_many(found: int, of: int, share: float) -> float:
    """Return an upper bound of the natural logarithm of the chance that at least ``found`` of ``of`` have something.

    Each has it by itself with the chance ``share``. It is Chernoff's bound, exact where all have it; zero where no more
    have it than are to be expected.
    """
    if not of or found <= share * of:
        return 0.0
    part = found / of
    without = 0.0 if found >= of else (1.0 - part) * math.log((1.0 - part) / (1.0 - share))
    return -of * (part * math.log(part / share) + without)


def so_small(squares: float, freedom: int) -> float:
    """Return an upper bound of the chance that so many squared standard normal deviates have a sum of ``squares``."""
    half = 0.5 * freedom
    return min(1.0, math.exp(half * math.log(max(0.5 * squares, 1e-300)) - math.lgamma(half + 1.0)))
