"""Finds readings that repeat another observation on another clock: same name and position, later time.

Later by what clocks differ: a logger at rest, a point measured again and a list that is keyed in every day are not.
"""

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.clock_lags import MISSES, clock_lags
from pipeline.duplicates.decimals import metres_of
from pipeline.duplicates.exact import Hashes, place_hashes
from pipeline.duplicates.observed import Observed

#: Metres over which two observations of one point scatter at least, so that they agree in a coordinate's last digit,
#: worth ``u``, with a chance of no more than ``u`` by it. Common practice, no source.
_SCATTER = 0.02
#: Chance up to which readings that agree to the last digit are one: a position to 0.1 mm, or two to a millimetre.
_CHANCE = 2e-6
_LEAST = 1e-12
#: Writings of one reading. What is there more often is a logger at rest, or keyed in.
_MOST = 4
#: Share of the readings that have another of their name as much later from which on they are two clocks': where many
#: points are measured twice, some agree by chance. What was reduced again meanwhile may differ.
_SHARE = 0.8


def by_another_clock(of: Observed, place: Hashes, session: Integers, occupies: Flags) -> Integers:
    """Return (p, 2) places of readings that are one observation at two times, those of one observation with its first.

    Of one name alone only what may stand on a mark and is of one session, since a point may be exported as often as
    somebody likes; where several names come again, all are as much later. Whether most of their names agree so is for
    `agreeing` to tell.

    Args:
        of: readings with a name (k,) in the order of reading.
        place: (k,) what tells name and position apart.
        session: (k,) index of the session.
        occupies: (k,) which may stand on a mark.
    """
    one, other = _pairs(place)
    lags = clock_lags(of.time[one], of.time[other])
    one, other, later = one[lags.known], other[lags.known], lags.lag[lags.known]
    if not len(one):
        return np.zeros((0, 2), np.int64)
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


def agreeing(of: Observed, pairs: Integers, every: Observed) -> Flags:
    """Return (p,) which pairs are as much later as most others of their names in the two exports, or the one.

    Args:
        of: the readings that pairs are of.
        pairs: (p, 2) places among them, from `by_another_clock`.
        every: all readings (m,) with a name that comes again.
    """
    one, other = pairs.T
    back = (of.export[one] == of.export[other]) & (of.time[other] < of.time[one])
    one, other = np.where(back, other, one), np.where(back, one, other)
    kinds = np.column_stack([of.export[one], of.export[other], clock_lags(of.time[one], of.time[other]).lag])
    groups, group = np.unique(kinds, axis=0, return_inverse=True)
    places = place_hashes(every.name, every.longitude, every.latitude, every.height)
    name, place = (np.unique(values, return_inverse=True)[1].ravel() for values in (every.name, places))
    told = np.array([_mostly(every, name, place, *kind) for kind in groups.tolist()], bool)
    found: Flags = told[group.ravel()]
    return found


def _mostly(every: Observed, name: Integers, place: Integers, first: int, last: int, lag: int) -> bool:
    """Tell whether most readings of one export that another has so much later, by name, are at the same place there."""
    one, other = np.flatnonzero(every.export == first), np.flatnonzero(every.export == last)
    named: Flags = _follows(name, every.time, one, other, lag)
    agree: Flags = _follows(place, every.time, one, other, lag)
    if first == last:  # what is the later one itself is followed by none
        named = named & (agree | ~_follows(place, every.time, one, other, -lag))
    return bool(agree.sum() >= _SHARE * named.sum())


def _follows(what: Integers, time: Integers, one: Integers, other: Integers, lag: int) -> Flags:
    """Return which readings have one of the other ones so much later that is alike in ``what`` (m,)."""
    since = time - time.min()
    stride = int(since.max()) + 2 * (abs(lag) + MISSES)
    key = what * stride + since
    ordered = np.sort(key[other])
    at = key[one] + lag
    found: Flags = np.searchsorted(ordered, at - MISSES) < np.searchsorted(ordered, at + MISSES, side="right")
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
