"""One name at two places: which points lie far from the first that has their name, among all readings of a job."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.sphere import apart


class FarRepeats(Struct, frozen=True):
    """Readings far from the first of their name, by number: (k,) ``first``, ``other``, ``distance`` metres.

    ``names`` is how many different names they have.
    """

    first: Integers
    other: Integers
    distance: Floats
    names: int


def far_repeats(names: NDArray[np.uint64], longitude: Floats, latitude: Floats, within: float | Floats) -> FarRepeats:
    """Return the readings that lie beyond ``within`` metres of the first with their name, in the order of reading.

    Args:
        names: (n,) hashes of them.
        longitude, latitude: (n,) degrees.
        within: metres, or (n,) metres of each reading, of which the larger of two counts.
    """
    ordered = np.sort(names)
    several = np.unique(ordered[1:][ordered[1:] == ordered[:-1]])
    if not len(several):
        none = np.zeros(0, np.int64)
        return FarRepeats(none, none, np.zeros(0), 0)
    rows = np.flatnonzero(np.isin(names, several))
    order = rows[np.argsort(names[rows], kind="stable")]
    ordered = names[order]
    fresh = np.ones(len(order), bool)
    fresh[1:] = ordered[1:] != ordered[:-1]
    start = np.maximum.accumulate(np.where(fresh, np.arange(len(order)), 0))
    again = np.flatnonzero(~fresh)
    first, other = order[start[again]], order[again]
    distance = apart(longitude[first], latitude[first], longitude[other], latitude[other])
    limit = np.broadcast_to(within, len(names))
    far = np.flatnonzero(distance > np.maximum(limit[first], limit[other]))
    far = far[np.argsort(other[far], kind="stable")]
    return FarRepeats(first[far], other[far], distance[far], len(np.unique(first[far])))
