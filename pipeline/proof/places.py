"""One name at two places: which readings lie far from the first that has their name."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.proof.register import DEGREE

Integers = NDArray[np.int64]

#: Units in a degree in which places are kept: a centimetre, and four bytes.
PER_DEGREE = 1e7


@dataclass(frozen=True)
class FarRepeats:
    """Readings far from the first of their name, by number: (k,) ``first``, ``other``, ``distance`` metres.

    ``names`` is how many different names they have.
    """

    first: Integers
    other: Integers
    distance: NDArray[np.float64]
    names: int


def far_repeats(hashes: NDArray[np.uint64], places: NDArray[np.int32], within: float) -> FarRepeats:
    """Return the readings that lie beyond ``within`` metres of the first with their name, in the order of reading.

    Args:
        hashes: (n,) of the names.
        places: (n, 2) longitude and latitude, in degrees times `PER_DEGREE`.
        within: metres.
    """
    order = np.argsort(hashes, kind="stable")
    ordered = hashes[order]
    fresh = np.ones(len(order), bool)
    fresh[1:] = ordered[1:] != ordered[:-1]
    start = np.maximum.accumulate(np.where(fresh, np.arange(len(order)), 0))
    again = np.flatnonzero(~fresh)
    first, other = order[start[again]], order[again]
    apart = (places[other].astype(np.float64) - places[first]) / PER_DEGREE
    east = (apart[:, 0] + 180.0) % 360.0 - 180.0
    distance = DEGREE * np.hypot(east * np.cos(np.radians(places[first, 1] / PER_DEGREE)), apart[:, 1])
    far = np.flatnonzero(distance > within)
    far = far[np.argsort(other[far], kind="stable")]
    return FarRepeats(first[far], other[far], distance[far], len(np.unique(first[far])))
