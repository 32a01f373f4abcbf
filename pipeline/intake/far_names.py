"""One name at two places: which points lie far from the first that has their name, among all readings of a job."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.intake.ledger import POINT, Rows
from pipeline.sphere import DEGREE

#: Metres: two bases that averaged their positions put one place about so far apart. Common practice, no source.
_WITHIN = 25.0


@dataclass(frozen=True)
class FarRepeats:
    """Readings far from the first of their name, by number: (k,) ``first``, ``other``, ``distance`` metres.

    ``names`` is how many different names they have.
    """

    first: Integers
    other: Integers
    distance: Floats
    names: int


def far_repeats(names: NDArray[np.uint64], longitude: Floats, latitude: Floats, within: float) -> FarRepeats:
    """Return the readings that lie beyond ``within`` metres of the first with their name, in the order of reading.

    Args:
        names: (n,) hashes of them.
        longitude, latitude: (n,) degrees.
        within: metres.
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
    east = (longitude[other] - longitude[first] + 180.0) % 360.0 - 180.0
    north = latitude[other] - latitude[first]
    distance = DEGREE * np.hypot(east * np.cos(np.radians(latitude[first])), north)
    far = np.flatnonzero(distance > within)
    far = far[np.argsort(other[far], kind="stable")]
    return FarRepeats(first[far], other[far], distance[far], len(np.unique(first[far])))


def far_names(rows: Rows) -> FarRepeats:
    """Return the sound points that lie far from the first of their name, by their numbers in the job."""
    of = rows.observed
    numbers = np.flatnonzero(rows.having(POINT) & np.isfinite(of.longitude) & np.isfinite(of.latitude))
    # each half alone would take different names for one in a large job
    names = of.name[numbers].astype(np.uint64) << np.uint64(32) | rows.spelled[numbers]
    found = far_repeats(names, of.longitude[numbers], of.latitude[numbers], _WITHIN)
    return FarRepeats(numbers[found.first], numbers[found.other], found.distance, found.names)
