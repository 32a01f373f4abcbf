"""Pairs of readings that are one observation within the rounding of both, and pairs of which nobody can say."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import TIME_UNITS, Codes, metres_of
from pipeline.sphere import DEGREE

#: Metres: the coarsest last digit for which two places that agree to it are one place; two rovers stand further apart.
_COARSEST = 0.12
#: Metres by which one place differs when it was brought from another CRS.
_CONVERTED = 5e-5
#: Readings of one moment up to which each is held against each of the others; beyond, those of one latitude are.
_MANY = 64
#: The same where moment and latitude are one: a logger at rest whose times lost their hours. Its exact repeats are
#: found all the same. And the pairs of such readings that are looked at in all.
_MOST, _PAIRS = 2_000, 5_000_000


@dataclass(frozen=True)
class Observed:
    """Readings of all exports, (n,) in the order of reading.

    Args:
        time: UTC milliseconds.
        longitude, latitude: degrees.
        height: metres.
        name: a hash of the name, 0 where there is none.
        base: a number for the base id, 0 where there is none.
        export: number of the export.
        east, north, up, clock: codes of the rounding of position, height and time; where the coordinates are no
            longitude and latitude, east and north both have that of the coarser.
        mixed: (E,) which exports hold rows of different rounding.
    """

    time: Integers
    longitude: Floats
    latitude: Floats
    height: NDArray[np.float32]
    name: NDArray[np.uint32]
    base: NDArray[np.int16]
    export: NDArray[np.int32]
    east: Codes
    north: Codes
    up: Codes
    clock: Codes
    mixed: Flags


@dataclass(frozen=True)
class Alike:
    """Pairs of readings, each (k, 2) numbers: ``same`` are one observation; of the others nobody can say.

    ``apart`` have name and time in common but not the place, ``renamed`` time and place but not the name.
    """

    same: Integers
    apart: Integers
    renamed: Integers


def alike(observed: Observed, which: Integers) -> Alike:
    """Compare readings of one moment, pair by pair, among those that ``which`` (m,) numbers.

    Two readings are one observation where times, places, heights, names and base ids agree within the rounding of
    both; a name or base id that is missing agrees with any. Rows of one export only are where that is a mix of
    differently rounded rows. A reading is paired with one reading of another export at the most: the nearest.
    """
    same, apart, renamed = [], [], []
    for one, other in _at_one_time(observed, which):
        found = _Compared(observed, np.minimum(one, other), np.maximum(one, other))
        same.append(found.same())
        apart.append(found.apart())
        renamed.append(found.renamed())
    pairs = [np.concatenate([np.zeros((0, 2), np.int64), *some]) for some in (same, apart, renamed)]
    one = _one_to_one(observed, pairs[0])
    taken = np.unique(one)
    left = [some[~np.isin(some, taken).any(axis=1)] for some in pairs[1:]]
    return Alike(one, *left)


class _Compared:
    """Pairs of readings, (p,) earlier and later in the order of reading."""

    def __init__(self, of: Observed, one: Integers, other: Integers) -> None:
        here = (of.base[one] == of.base[other]) | (of.base[one] == 0) | (of.base[other] == 0)
        here &= _same_time(of, one, other)
        self.of, self.one, self.other = of, one[here], other[here]
        one, other = self.one, self.other
        self.within = of.export[one] == of.export[other]
        self.east, self.north, self.up = offsets(of, one, other)
        sideways, lengthways = (_tolerance(code[one], code[other]) for code in (of.east, of.north))
        upwards = _tolerance(of.up[one], of.up[other]) + 2e-7 * np.abs(of.height[one])
        self.level = np.hypot(self.east, self.north)
        self.close = (np.abs(self.east) <= sideways) & (np.abs(self.north) <= lengthways) & (np.abs(self.up) <= upwards)
        self.named = (of.name[one] != 0) & (of.name[other] != 0)
        self.same_name = of.name[one] == of.name[other]

    def _pairs(self, which: Flags) -> Integers:
        return np.column_stack([self.one[which], self.other[which]]).astype(np.int64)

    def same(self) -> Integers:
        of, one, other = self.of, self.one, self.other
        rounded = np.any([code[one] != code[other] for code in (of.east, of.north, of.up, of.clock)], axis=0)
        comparable = ~self.within | (rounded & of.mixed[of.export[one]])
        return self._pairs(comparable & self.close & (self.same_name | ~self.named))

    def apart(self) -> Integers:
        return self._pairs(self.named & self.same_name & ~self.close)

    def renamed(self) -> Integers:
        return self._pairs(self.named & ~self.same_name & self.close & ~self.within)


def offsets(of: Observed, one: Integers, other: Integers) -> tuple[Floats, Floats, Floats]:
    """Return (p,) east, north and up from one reading of each pair to the other, metres."""
    round_the_earth = (of.longitude[other] - of.longitude[one] + 180.0) % 360.0 - 180.0
    east = round_the_earth * DEGREE * np.cos(np.radians(of.latitude[one]))
    up = of.height[other].astype(np.float64) - of.height[one].astype(np.float64)
    return east, (of.latitude[other] - of.latitude[one]) * DEGREE, up


def _tolerance(one: Codes, other: Codes) -> Floats:
    """Return (p,) metres by which rounding, or cutting off digits, may part two writings of one length."""
    units = np.minimum(np.stack([metres_of(one), metres_of(other)]), _COARSEST)
    found: Floats = units.max(axis=0) + 0.5 * units.min(axis=0) + _CONVERTED
    return found


def _same_time(of: Observed, one: Integers, other: Integers) -> Flags:
    """Tell where the coarser time is the finer one rounded or cut off; two of one rounding have to be equal."""
    units = TIME_UNITS[of.clock[one]], TIME_UNITS[of.clock[other]]
    later = np.where(units[0] > units[1], 1, -1) * (of.time[one] - of.time[other])
    unit = np.maximum(*units)
    found: Flags = (later == 0) | ((units[0] != units[1]) & (later > -unit) & (2 * later <= unit))
    return found


def _at_one_time(of: Observed, which: Integers) -> Iterator[tuple[Integers, Integers]]:
    """Yield pairs of readings whose times may be one."""
    order = which[np.argsort(of.time[which], kind="stable")]
    time = of.time[order]
    longest = int(TIME_UNITS[of.clock[which].max(initial=0)])
    window = longest if np.count_nonzero(np.bincount(of.clock[which])) > 1 else 0
    left = np.arange(len(order))
    for step in range(1, _MANY + 1):
        left = left[left + step < len(order)]
        left = left[time[left + step] - time[left] <= window]
        if not len(left):
            return
        yield order[left], order[left + step]
    yield from _at_one_latitude(of, order, time, left, window)


def _at_one_latitude(
    of: Observed, order: Integers, time: Integers, dense: Integers, window: int
) -> Iterator[tuple[Integers, Integers]]:
    """Yield pairs among the readings of crowded moments whose latitudes may be one; pairs may come twice."""
    touched = np.zeros(len(order) + 1, np.int64)
    last = np.searchsorted(time, time[dense] + window, side="right")
    np.add.at(touched, dense, 1)
    np.add.at(touched, last, -1)
    crowd = order[np.cumsum(touched[:-1]) > 0]
    block = np.zeros(len(crowd), np.int64) if window else of.time[crowd]
    sorting = np.lexsort((of.latitude[crowd], block))
    crowd, block = crowd[sorting], block[sorting]
    left = np.arange(len(crowd))
    looked = 0
    for step in range(1, _MOST + 1):
        looked += len(left)
        if looked > _PAIRS + 2 * len(crowd):
            return
        left = left[left + step < len(crowd)]
        near = of.latitude[crowd[left + step]] - of.latitude[crowd[left]] <= 2 * _COARSEST / DEGREE
        left = left[near & (block[left + step] == block[left])]
        if not len(left):
            return
        yield crowd[left], crowd[left + step]


def _one_to_one(of: Observed, pairs: Integers) -> Integers:
    """Return the pairs in which each reading is the other's nearest in the other's export; what is left goes again."""
    rows = max(len(of.time), 1)
    pairs = np.column_stack(np.divmod(np.unique(pairs[:, 0] * rows + pairs[:, 1]), rows))
    east, north, up = offsets(of, pairs[:, 0], pairs[:, 1])
    apart = np.abs(of.time[pairs[:, 0]] - of.time[pairs[:, 1]])
    nearness = np.lexsort((pairs[:, 1], pairs[:, 0], np.round(np.hypot(np.hypot(east, north), up), 5), apart))
    pairs, found = pairs[nearness], [np.zeros((0, 2), np.int64)]
    while len(pairs):
        # the nearest pair stands first, so the first of each reading and export is its best
        best = np.ones(len(pairs), bool)
        for own, theirs in ((0, 1), (1, 0)):
            key = pairs[:, own] * (len(of.mixed) + 1) + of.export[pairs[:, theirs]]
            first = np.zeros(len(pairs), bool)
            first[np.unique(key, return_index=True)[1]] = True
            best &= first
        chosen = pairs[best]
        found.append(chosen)
        gone = np.zeros(len(pairs), bool)
        for own, theirs in ((0, 1), (1, 0)):
            key = pairs[:, own] * (len(of.mixed) + 1) + of.export[pairs[:, theirs]]
            gone |= np.isin(key, chosen[:, own] * (len(of.mixed) + 1) + of.export[chosen[:, theirs]])
        pairs = pairs[~gone]
    return np.concatenate(found)
