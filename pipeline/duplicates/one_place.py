"""Finds readings of other names and times with exactly the position of another: copies of it.

A receiver never measures the same digits twice, unless they are few: two roundings to a decimetre agree by chance, two
to a tenth of a millimetre do not. So what is told is what the readings that lie there would hardly do by chance.
"""

import math
from collections.abc import Iterable, Iterator

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import metres_of
from pipeline.duplicates.exact import Hashes
from pipeline.duplicates.observed import Observed
from pipeline.sphere import DEGREE

#: Metres over which two observations of one point scatter at least in each axis, so that they agree in a last digit
#: worth ``u`` with a chance of no more than ``u`` by it: minutes apart, and one after the other by a receiver at rest.
#: Common practice, no source.
_SCATTER, _AT_REST = 0.02, 0.004
#: Milliseconds from which on two observations are minutes apart.
_APART = 600_000
#: Number of places that agree by chance in a session up to which readings of one position are told. A check that is
#: a copy is not that rare, and one measured that is taken for a copy only has to be measured again.
_CHANCE = 2.5e-3
_LEAST = 1e-12
#: Metres: the side of the cells of which nine hold what was measured at one place.
CELL = 0.05
_STRIDE = 1 << 32


class Copies(Struct, frozen=True):
    """Readings that were copied: (k,) places among those that were asked about, and (k,) the place of the original."""

    place: Integers
    of: Integers


class Crowd(Struct, frozen=True):
    """How much was measured where readings have one position, (k,) for each of those: to reckon chance by.

    Args:
        near: readings within decimetres of it, with itself.
        places: places of a session where several readings lie, on average.
    """

    near: Integers
    places: float


def copies(of: Observed, position: Hashes, ties: Flags, occupies: Flags, every: Crowd, marks: Crowd) -> Copies:
    """Return which readings are copies of another, that of a tie or else the first in time of each position.

    What has one time was stored twice, and what has one name and may stand on no mark was exported as often as
    somebody liked: neither is told.

    Args:
        of: readings (k,) in the order of reading.
        position: (k,) what tells positions apart.
        ties: (k,) which of them are ties.
        occupies: (k,) which may stand on a mark.
        every: what was measured there.
        marks: what of that may stand on a mark.
    """
    order = np.lexsort((of.time, ~ties, position))
    starts = np.flatnonzero(np.diff(position[order], prepend=~position[order[:1]]) != 0)
    found, original = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for group in np.split(order, starts[1:]):
        first, rest = group[0], group[1:]
        other_name = (of.name[rest] != of.name[first]) | (of.name[rest] == 0) | (occupies[rest] & occupies[first])
        rest = rest[(of.time[rest] != of.time[first]) & other_name]
        if not len(rest):
            continue
        crowd = marks if occupies[first] and occupies[rest].all() else every
        if _by_chance(of, first, rest, int(crowd.near[first])) * max(crowd.places, 1.0) <= _CHANCE:
            found.append(rest)
            original.append(np.full(len(rest), first))
    return Copies(np.concatenate(found), np.concatenate(original))


def _by_chance(of: Observed, first: int, rest: Integers, near: int) -> float:
    """Return how many such groups of readings chance makes of those near one place, at most."""
    times = np.unique(np.concatenate([[of.time[first]], of.time[rest]]))
    units = np.array([metres_of(codes[first : first + 1])[0] for codes in (of.east, of.north, of.up)])
    height = of.height[first]
    if not np.isfinite(height) or height == 0:  # a zero stands for none
        units[2] = np.inf
    chance = 0.0
    for gap in np.diff(times).tolist():
        scatter = _SCATTER if gap >= _APART else _AT_REST
        chance += math.log(max(float(np.minimum(units / scatter, 1.0).prod()), _LEAST))
    many = max(near, len(times))
    chosen = math.lgamma(many + 1) - math.lgamma(len(times) + 1) - math.lgamma(many - len(times) + 1)
    return math.exp(chance + chosen) if chance + chosen < 0 else math.inf


def cells(longitude: Floats, latitude: Floats) -> NDArray[np.int64]:
    """Return (n,) the cells of degrees (n,), in rows from south to north; what is no number has some."""
    longitude, latitude = np.nan_to_num(longitude), np.nan_to_num(latitude)
    shrunk = np.cos(np.radians(np.floor(latitude)))
    east = np.floor(longitude * DEGREE * shrunk / CELL).astype(np.int64)
    north = np.floor(latitude * DEGREE / CELL).astype(np.int64)
    found: NDArray[np.int64] = north * _STRIDE + east
    return found


def nearby(places: NDArray[np.int64], pieces: Iterable[tuple[NDArray[np.int64], Flags]]) -> Integers:
    """Return (k,) how many of all readings lie in the nine cells around each of ``places`` (k,).

    ``pieces`` are the cells of all readings, and which of these count.
    """
    around = np.unique(np.concatenate(list(_around(places))))
    counts = np.zeros(len(around), np.int64)
    for piece, which in pieces:
        here = piece[which]
        at = np.minimum(np.searchsorted(around, here), len(around) - 1)
        counts += np.bincount(at[around[at] == here], minlength=len(around))
    found: Integers = np.sum([counts[np.searchsorted(around, shifted)] for shifted in _around(places)], axis=0)
    return found


def _around(places: NDArray[np.int64]) -> Iterator[NDArray[np.int64]]:
    for north in (-1, 0, 1):
        for east in (-1, 0, 1):
            yield places + north * _STRIDE + east
