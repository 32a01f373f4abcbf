"""Finds pairs of readings that are one observation within rounding, and pairs that cannot be decided."""

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import COARSEST, TIME_UNITS, Codes, metres_of
from pipeline.duplicates.moments import Stretch, by_latitude, same_moment, stretches
from pipeline.duplicates.observed import Observed, Readings, of_pairs
from pipeline.duplicates.some_pairs import Some
from pipeline.sphere import DEGREE

#: Metres by which one place differs when it was brought from another CRS.
_CONVERTED = 5e-5
#: Pairs that are compared at a time.
_AT_ONCE = 1 << 17
#: Places in the order of time within which readings of one export are held together: a copy of three points of one
#: measurement comes behind all three.
_WITHIN = 3


class Alike(Struct, frozen=True):
    """Pairs of readings, each (k, 2) numbers: ``same`` are one observation; of the others nobody can say.

    ``apart`` have name and time in common but not the place, ``renamed`` time and place but not the name. ``together``
    have the time alone in common; where they are many, these are of some readings only.
    """

    same: Integers
    apart: Integers
    renamed: Integers
    together: Integers


def alike(readings: Readings, which: Flags) -> Alike:
    """Compare readings of one moment, pair by pair, among those that ``which`` (n,) says.

    Two readings are one observation where times, places, heights, names and base ids agree within the rounding of
    both; a name or base id that is missing agrees with any. Rows of one export only are where that is a mix of
    differently rounded rows. A reading is paired with one reading of another export at the most: the nearest.
    """
    found, crowds = _Found(readings.mixed), [(np.zeros(0, np.int64), np.zeros(0, np.int64))]
    cuts, window = same_moment(readings, which)
    for stretch in stretches(readings, which, cuts, window):
        for step, left in stretch.neighbours(window):
            found.compare(stretch, step, left)
        crowded = stretch.crowded(window)
        crowds.append((crowded + stretch.place, stretch.number[crowded]))
    crowd = by_latitude(readings, crowds, window)
    for step, left in crowd.near_latitudes(window):
        found.compare(crowd, step, left)
    one = _one_to_one(readings, _in_order(found.same))
    taken = np.unique(one)
    left_over = [_in_order(some) for some in (found.apart, found.renamed)]
    left_over.append(found.together.pairs())
    return Alike(one, *(some[~np.isin(some, taken).any(axis=1)] for some in left_over))


class _Found(Struct):
    """Gathers pairs: (p, 4) their numbers, and by which step and at which place in the order of time they were met."""

    mixed: Flags
    same: list[Integers] = field(default_factory=list)
    apart: list[Integers] = field(default_factory=list)
    renamed: list[Integers] = field(default_factory=list)
    together: Some = field(default_factory=Some)

    def compare(self, stretch: Stretch, step: int, left: Integers) -> None:
        """Compare the readings at (p,) places of a stretch with those ``step`` places on."""
        of, number = stretch.of, stretch.number
        for start in range(0, len(left), _AT_ONCE):
            met = left[start : start + _AT_ONCE]
            if not stretch.steps and (step <= _WITHIN or len(self.mixed) > 1):
                self._together(stretch, step, met)
            met = met[self._comparable(of, met, met + step)]
            swapped = number[met] > number[met + step]
            one, other = np.where(swapped, met + step, met), np.where(swapped, met, met + step)
            steps = np.full(len(met), stretch.steps + step)
            told = np.column_stack([number[one], number[other], steps, met + stretch.place])
            pairs = _Compared(of, one, other, self.mixed, told)
            self.same.append(pairs.same())
            self.apart.append(pairs.apart())
            self.renamed.append(pairs.renamed())

    def _together(self, stretch: Stretch, step: int, left: Integers) -> None:
        """Note pairs of no common name at one time, of two exports; of one only those near in order."""
        of, one, other = stretch.of, left, left + step
        which = (of.name[one] != of.name[other]) | (of.name[one] == 0)
        if step > _WITHIN:
            which &= of.export[one] != of.export[other]
        one, other = one[which], other[which]
        which = (of.base[one] == of.base[other]) | (of.base[one] == 0) | (of.base[other] == 0)
        one, other = one[which], other[which]
        one, other = one[_same_time(of, one, other)], other[_same_time(of, one, other)]
        pairs = np.sort(np.column_stack([stretch.number[one], stretch.number[other]]), axis=1)
        early = np.where(stretch.number[one] < stretch.number[other], one, other)
        self.together.add(pairs, of.export[one] + of.export[other] - of.export[early], of.export[early], of.time[early])

    def _comparable(self, of: Observed, one: Integers, other: Integers) -> Flags:
        """Return (p,) of which pairs anything may come: of different names in one export of one rounding nothing."""
        found: Flags = of.name[one] == of.name[other]
        if len(self.mixed) > 1:
            found |= of.export[one] != of.export[other]
        if self.mixed.any():
            found |= self.mixed[of.export[one]]
        return found


class _Compared:
    """Pairs of readings (p,), places among ``of``, earlier and later in the order of reading; ``told`` tells of each.

    ``mixed`` (E,) says which exports hold rows of different rounding.
    """

    def __init__(self, of: Observed, one: Integers, other: Integers, mixed: Flags, told: Integers) -> None:
        here = (of.base[one] == of.base[other]) | (of.base[one] == 0) | (of.base[other] == 0)
        here &= _same_time(of, one, other)
        self.of, self.one, self.other, self.mixed, self.told = of, one[here], other[here], mixed, told[here]
        one, other = self.one, self.other
        self.within = of.export[one] == of.export[other]
        east, north, up = offsets(of, one, other)
        self.close = (np.abs(np.column_stack([east, north, up])) <= writing(of, one, other)).all(axis=1)
        self.named = (of.name[one] != 0) & (of.name[other] != 0)
        self.same_name = of.name[one] == of.name[other]

    def _told(self, which: Flags) -> Integers:
        found: Integers = self.told[which]
        return found

    def same(self) -> Integers:
        """Return (k, 4) what is told of the pairs that are one observation."""
        of, one, other = self.of, self.one, self.other
        rounded = np.any([code[one] != code[other] for code in (of.east, of.north, of.up, of.clock)], axis=0)
        comparable = ~self.within | (rounded & self.mixed[of.export[one]])
        return self._told(comparable & self.close & (self.same_name | ~self.named))

    def apart(self) -> Integers:
        """Return (k, 4) the same of those that have name and time in common but not the place."""
        return self._told(self.named & self.same_name & ~self.close)

    def renamed(self) -> Integers:
        """Return (k, 4) the same of those that have time and place in common but not the name."""
        return self._told(self.named & ~self.same_name & self.close & ~self.within)


def offsets(of: Observed, one: Integers, other: Integers) -> tuple[Floats, Floats, Floats]:
    """Return (p,) east, north and up from one reading of each pair to the other, metres."""
    round_the_earth = (of.longitude[other] - of.longitude[one] + 180.0) % 360.0 - 180.0
    east = round_the_earth * DEGREE * np.cos(np.radians(of.latitude[one]))
    up = of.height[other].astype(np.float64) - of.height[one].astype(np.float64)
    return east, (of.latitude[other] - of.latitude[one]) * DEGREE, up


def writing(of: Observed, one: Integers, other: Integers) -> Floats:
    """Return (p, 3) metres to the east, the north and upwards by which writing one place down may part two readings."""
    sideways, lengthways = (_tolerance(code[one], code[other]) for code in (of.east, of.north))
    upwards = _tolerance(of.up[one], of.up[other]) + 2e-7 * np.abs(of.height[one])
    return np.column_stack([sideways, lengthways, upwards])


def _tolerance(one: Codes, other: Codes) -> Floats:
    """Return (p,) metres by which rounding, or cutting off digits, may part two writings of one length."""
    units = np.minimum(np.stack([metres_of(one), metres_of(other)]), COARSEST)
    found: Floats = units.max(axis=0) + 0.5 * units.min(axis=0) + _CONVERTED
    return found


def _same_time(of: Observed, one: Integers, other: Integers) -> Flags:
    """Tell where the coarser time is the finer one rounded or cut off; two of one rounding have to be equal."""
    units = TIME_UNITS[of.clock[one]], TIME_UNITS[of.clock[other]]
    later = np.where(units[0] > units[1], 1, -1) * (of.time[one] - of.time[other])
    unit = np.maximum(*units)
    found: Flags = (later == 0) | ((units[0] != units[1]) & (later > -unit) & (2 * later <= unit))
    return found


def _one_to_one(readings: Readings, pairs: Integers) -> Integers:
    """Return the pairs in which each reading is the other's nearest in the other's export; what is left goes again."""
    of, numbers, pairs = of_pairs(readings, pairs)
    rows, exports = max(len(numbers), 1), len(readings.mixed) + 1
    pairs = np.column_stack(np.divmod(np.unique(pairs[:, 0] * rows + pairs[:, 1]), rows))
    east, north, up = offsets(of, pairs[:, 0], pairs[:, 1])
    apart = np.abs(of.time[pairs[:, 0]] - of.time[pairs[:, 1]])
    nearness = np.lexsort((pairs[:, 1], pairs[:, 0], np.round(np.hypot(np.hypot(east, north), up), 5), apart))
    pairs, found = pairs[nearness], [np.zeros((0, 2), np.int64)]
    while len(pairs):
        # the nearest pair stands first, so the first of each reading and export is its best
        best = np.ones(len(pairs), bool)
        for own, theirs in ((0, 1), (1, 0)):
            key = pairs[:, own] * exports + of.export[pairs[:, theirs]]
            first = np.zeros(len(pairs), bool)
            first[np.unique(key, return_index=True)[1]] = True
            best &= first
        chosen = pairs[best]
        found.append(chosen)
        gone = np.zeros(len(pairs), bool)
        for own, theirs in ((0, 1), (1, 0)):
            key = pairs[:, own] * exports + of.export[pairs[:, theirs]]
            gone |= np.isin(key, chosen[:, own] * exports + of.export[chosen[:, theirs]])
        pairs = pairs[~gone]
    return numbers[np.concatenate(found)]


def _in_order(pairs: list[Integers]) -> Integers:
    """Return (p, 2) the numbers of pairs, in the order of steps and of time."""
    every = np.concatenate([np.zeros((0, 4), np.int64), *pairs])
    return every[np.lexsort((every[:, 3], every[:, 2])), :2]
