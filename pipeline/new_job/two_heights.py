"""Tells whether two columns hold two different heights of the same points."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.values import MOSTLY

#: Metres between two heights that are one but for their rounding.
ROUNDED = 0.006
#: How much of the ground's ups and downs may be between heights above two surfaces: a geoid is flat beside it.
_WITH_THEM = 0.5
#: Lengths of poles: how many there are in an export, and metres that none has. Common practice, no source.
_POLES, _LONGEST_POLE = 5, 6.0
#: Rows for each of them, at least, where there are several.
_AGAIN = 2


def are_other_heights(one: Floats | None, other: Floats | None, *, headed: bool) -> bool:
    """Whether numbers (n,) are other heights of the same points: by their heading, or as they go up and down with them.

    Not those that are the same but for their rounding, nor heights of trees and lengths of poles.
    """
    if one is None or other is None or np.isfinite(one + other).mean() < MOSTLY:
        return False
    if np.allclose(one, other, rtol=0, atol=ROUNDED, equal_nan=True):
        return False
    if are_of_poles(other):
        return False
    return headed or bool(np.nanstd(other - one) <= _WITH_THEM * np.nanstd(one))


def are_levels(
    ellipsoidal: Floats, other: Floats, *, said: str, headed: bool, metres: Sequence[float] = (1.0,)
) -> bool:
    """Whether numbers (n,) are heights of another kind than the ellipsoidal ones (n,) of the same points.

    They need not be there for the same points: any row that has either is one of which heights are to be chosen.

    Args:
        ellipsoidal: heights above the ellipsoid, NaN where there is none.
        other: what may be heights above a datum, NaN where there is none.
        said: what the heading of ``other`` says of them, "level" or "".
        headed: whether that heading is the usual one of heights.
        metres: of a unit of ``other`` in those of ``ellipsoidal``, each that it may be.
    """
    known = other[np.isfinite(other)]
    if not len(known) or not known.any():
        return False
    both = np.isfinite(ellipsoidal + other)
    if both.any() and any(np.allclose(ellipsoidal[both], other[both] * each, rtol=0, atol=ROUNDED) for each in metres):
        return False
    return said == "level" or are_other_heights(ellipsoidal, other, headed=headed)


def are_of_poles(values: Floats) -> bool:
    """Tell whether numbers (n,) may be lengths of poles: few that come again, none too long."""
    known = values[np.isfinite(values)]
    several = len(np.unique(known))
    again = several == 1 or _AGAIN * several <= len(known)
    return 0 < several <= _POLES and again and bool(np.abs(known).max() < _LONGEST_POLE)
