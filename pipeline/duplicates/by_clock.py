"""Readings that are another observation exported again by another clock: name and position to the last digit, later."""

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import TIME_UNITS, metres_of
from pipeline.duplicates.exact import Hashes
from pipeline.duplicates.observed import Observed

#: Metres over which two observations of one point scatter at least, so that they agree in a coordinate's last digit,
#: worth ``u``, with a chance of no more than ``u`` by it. Common practice, no source.
_SCATTER = 0.02
#: Chance up to which readings that agree to the last digit are one: a position to 0.1 mm, or two to a millimetre.
_CHANCE = 2e-6
_LEAST = 1e-12
#: Writings of one reading. What is there more often is a logger at rest, or keyed in.
_MOST = 4


def by_another_clock(of: Observed, place: Hashes, session: Integers, occupies: Flags) -> Integers:
    """Return (p, 2) places of readings that are one observation at two times, those of one observation with its first.

    Of one name alone only what may stand on a mark and is of one session, since a point may be exported as often as
    somebody likes; where several names come again, all are as much later, to the unit of the times.

    Args:
        of: readings with a name (k,) in the order of reading.
        place: (k,) what tells name and position apart.
        session: (k,) index of the session.
        occupies: (k,) which may stand on a mark.
    """
    one, other = _pairs(place)
    here = of.time[one] != of.time[other]
    one, other = one[here], other[here]
    if not len(one):
        return np.zeros((0, 2), np.int64)
    unit = np.maximum(TIME_UNITS[of.clock[one]], TIME_UNITS[of.clock[other]])
    later = (of.time[other] - of.time[one] + unit // 2) // unit * unit
    kinds = np.column_stack([of.export[one], of.export[other], later])
    _, group = np.unique(kinds, axis=0, return_inverse=True)
    group = group.ravel()
    chance = np.log(np.maximum(_chance(of, one), _LEAST))
    # of several readings of one name that come again as much later the best one tells
    names = np.column_stack([group, of.name[one].astype(np.int64)])
    told = np.lexsort((chance, names[:, 1], names[:, 0]))
    first = told[np.flatnonzero((np.diff(names[told], axis=0, prepend=-1) != 0).any(axis=1))]
    sums = np.bincount(group[first], chance[first])[group]
    several = np.bincount(group[first])[group] > 1
    alone = occupies[one] & occupies[other] & (session[one] == session[other])
    found: Integers = np.column_stack([one, other])[(sums <= np.log(_CHANCE)) & (several | alone)]
    return found


def _pairs(place: Hashes) -> tuple[Integers, Integers]:
    """Return the first reading of each place that has a few, and the others, one by one."""
    order = np.argsort(place, kind="stable")
    starts = np.flatnonzero(np.diff(place[order], prepend=~place[order[:1]]) != 0)
    counts = np.diff(starts, append=len(order))
    first = np.repeat(order[starts], counts)
    few = np.repeat(counts <= _MOST, counts) & (first != order)
    return first[few], order[few]


def _chance(of: Observed, rows: Integers) -> Floats:
    """Return (p,) the chance that another observation has the last digits of a reading."""
    east, north, up = (metres_of(codes[rows]) for codes in (of.east, of.north, of.up))
    height = of.height[rows]
    units = np.stack([east, north, np.where(np.isfinite(height) & (height != 0), up, np.inf)])  # a zero stands for none
    found: Floats = np.minimum(units / _SCATTER, 1.0).prod(axis=0)
    return found
