"""Groups readings of the same moment, one stretch of time after the other, so that few are held at once."""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.duplicates.decimals import COARSEST, TIME_UNITS
from pipeline.duplicates.observed import Observed, Readings
from pipeline.sphere import DEGREE

#: Readings of one moment up to which each is compared with each of the others; beyond, those of one latitude are.
_MANY = 64
#: The same where moment and latitude are one: a logger at rest whose times lost their hours. Its exact repeats are
#: found all the same. And the pairs of such readings that are looked at in all.
_MOST, _PAIRS = 2_000, 5_000_000
#: Every so many readings one is looked at to cut time into stretches, which have about so many of those.
_EVERY, _LOOKED_AT = 1024, 128


class Stretch(Struct, frozen=True):
    """Readings in the order of time, (k,) with their numbers in the job.

    The first ``own`` of them are of this stretch, the others begin the next. ``place`` counts the readings before it,
    ``steps`` those in which some of them were compared before.
    """

    of: Observed
    number: Integers
    own: int
    place: int
    steps: int = 0

    def neighbours(self, window: int) -> Iterator[tuple[int, Integers]]:
        """Yield steps in the order of time, and (p,) the places from which so many lead to one of the same moment.

        Of crowded moments not all are found.
        """
        time, left = self.of.time, np.arange(self.own)
        for step in range(1, _MANY + 1):
            left = left[: np.searchsorted(left, len(time) - step)]
            left = left[time[left + step] - time[left] <= window]
            if not len(left):
                return
            yield step, left

    def crowded(self, window: int) -> Integers:
        """Return (p,) the places of the readings of moments of which `neighbours` does not find all."""
        time = self.of.time
        dense = np.flatnonzero((time[_MANY:] - time[:-_MANY] <= window)[: self.own])
        touched = np.zeros(len(time) + 1, np.int64)
        np.add.at(touched, dense, 1)
        np.add.at(touched, np.searchsorted(time, time[dense] + window, side="right"), -1)
        return np.flatnonzero(np.cumsum(touched[:-1]) > 0)

    def near_latitudes(self, window: int) -> Iterator[tuple[int, Integers]]:
        """Do the same as `neighbours` for readings sorted by `by_latitude`, further on: where latitudes may be one."""
        latitude = self.of.latitude
        block = np.zeros(self.own, np.int64) if window else self.of.time
        left, looked = np.arange(self.own), 0
        for step in range(1, _MOST + 1):
            looked += len(left)
            if looked > _PAIRS + 2 * self.own:
                return
            left = left[left + step < self.own]
            near = latitude[left + step] - latitude[left] <= 2 * COARSEST / DEGREE
            left = left[near & (block[left + step] == block[left])]
            if not len(left):
                return
            yield step, left


def same_moment(readings: Readings, which: Flags) -> tuple[Integers, int]:
    """Return the times that cut those ``which`` (n,) says into stretches, and how far apart one moment's times lie.

    Stretches are longer than that.
    """
    clocks, looked_at, rows = np.zeros(len(TIME_UNITS), np.int64), [np.zeros(0, np.int64)], 0
    for place, time, clock in readings.times():
        here = which[place]
        clocks += np.bincount(clock[here], minlength=len(TIME_UNITS))
        some = time[here]
        looked_at.append(some[-rows % _EVERY :: _EVERY].copy())  # a view would hold all of them
        rows += len(some)
    codes = np.flatnonzero(clocks)
    window = int(TIME_UNITS[codes[-1]]) if len(codes) > 1 else 0
    cuts: list[int] = []
    for time in np.sort(np.concatenate(looked_at))[_LOOKED_AT::_LOOKED_AT].tolist():
        if not cuts or time > cuts[-1] + window:
            cuts.append(time)
    return np.array(cuts, np.int64), window


def stretches(readings: Readings, which: Flags, cuts: Integers, window: int) -> Iterator[Stretch]:
    """Yield the readings that ``which`` (n,) says, by stretches as `same_moment` cuts them; none without its own."""
    place = 0
    for pieces, own in zip(*_sorted_out(readings, which, cuts, window), strict=True):
        if not own:
            continue
        numbers = np.sort(np.concatenate(pieces)).astype(np.int64)
        pieces.clear()
        of = readings.observed(numbers)
        order = np.argsort(of.time, kind="stable")
        yield Stretch(of.at(order), numbers[order], own, place)
        place += own


def by_latitude(readings: Readings, crowds: list[tuple[Integers, Integers]], window: int) -> Stretch:
    """Return crowded readings, given as (k,) places in the order of time and (k,) numbers, by moment and latitude."""
    places, numbers = (np.concatenate(parts) for parts in zip(*crowds, strict=True))
    _, first = np.unique(places, return_index=True)  # where stretches meet, one may be of both
    numbers = numbers[first]
    back = np.argsort(np.argsort(numbers))
    of = readings.observed(np.sort(numbers)).at(back)
    block = np.zeros(len(numbers), np.int64) if window else of.time
    order = np.lexsort((of.latitude, block))
    return Stretch(of.at(order), numbers[order], len(numbers), 0, _MANY)


def _sorted_out(
    readings: Readings, which: Flags, cuts: Integers, window: int
) -> tuple[list[list[NDArray[np.uint32]]], list[int]]:
    """Return the numbers of the readings of each stretch, in pieces, and how many they are.

    Among the numbers are those of its last moment beyond.
    """
    found: list[list[NDArray[np.uint32]]] = [[] for _ in range(len(cuts) + 1)]
    own = np.zeros(len(found), np.int64)
    for place, every, _ in readings.times():
        here = np.flatnonzero(which[place])
        time, numbers = every[here], (here + place.start).astype(np.uint32)
        of = np.searchsorted(cuts, time, side="right")
        counts = np.bincount(of, minlength=len(found))
        own += counts
        for number in np.flatnonzero(counts).tolist():
            mine = of == number
            found[number].append(numbers[mine])
            if number and window:  # a moment of no length ends with its stretch
                found[number - 1].append(numbers[mine & (time <= cuts[number - 1] + window)])
    return found, own.tolist()
