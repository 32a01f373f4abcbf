"""Finds cells of one coordinate that were pasted over others: the same numbers in the same order, at other places.

A spreadsheet pastes a block of cells wherever the cursor stands. Each number is a likely one, none repeats in a row,
and the other coordinates stay, so that only the order gives it away. Whole rows that repeat are `duplicates`.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.intake.sifted_batch import SiftedBatch

#: Numbers in a row that are the least.
_LEAST = 3
#: How often chance may make such a series in a job: it is told below that.
_CHANCE = 1e-3
#: Rows before and behind by which it is judged how much the numbers differ there; metres between the places.
_AROUND, _ELSEWHERE = 10, 2.0
#: Metres by which the places of a line that was computed parallel to another, with its heights, differ in distance.
_PARALLEL = 0.01
#: The part of the rows, and the series, from which on an export is made so: computed lines, design heights.
_SHARE, _SERIES = 0.3, 4
#: A standard deviation over the median of absolute deviations, and by it how seldom two normal numbers are alike to a
#: digit of one, and how seldom one is next to nothing.
_NORMAL, _ALIKE, _ONE = 1.4826, float(2.0 * np.sqrt(np.pi)), float(np.sqrt(2.0 * np.pi))
#: By how much chance may be underrated.
_SAFE = 2.0

_MIXING = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64)


class Pasted(Struct, frozen=True):
    """Rows of an export, by their numbers in the file, whose numbers in one coordinate are those of other rows.

    ``axis`` is which of the three, ``first`` the first and last of the former, ``second`` those behind them,
    ``sessions`` those that either are in.
    """

    export: int
    axis: int
    first: tuple[int, int]
    second: tuple[int, int]
    count: int
    sessions: tuple[int, ...]


class PastedCells(Struct):
    """Collects such rows, batch by batch."""

    told: list[Pasted] = field(default_factory=list)

    def take(self, batch: SiftedBatch) -> None:
        """Look at the sound readings of a batch."""
        rows = batch.sound_rows
        if not rows.edited:
            return
        for axis, start, other, length in pasted_series(rows.place, rows.metres, rows.digit):
            first, second = ((int(rows.row[at]), int(rows.row[at + length - 1])) for at in (start, other))
            of = rows.sessions(np.concatenate([np.arange(at, at + length) for at in (start, other)]))
            self.told.append(Pasted(rows.number, axis, first, second, length, of))

    def found(self) -> tuple[Pasted, ...]:
        """Return what was found."""
        return tuple(self.told)


def pasted_series(
    place: Floats, scale: Floats, digit: Callable[[Floats, int], float]
) -> list[tuple[int, int, int, int]]:
    """Return the axis, the start of each series of numbers, that of the same numbers behind it, and the length.

    Args:
        place: (n, 3) coordinates as given: longitude or easting, latitude or northing, height.
        scale: (3,) metres in one of each.
        digit: gives what the last digit of some coordinates along an axis is worth at the finest, metres.
    """
    found: list[tuple[int, int, int, int]] = []
    series = [_series(values) for values in place.T] if len(place) >= 2 * _LEAST else []
    if not any(series):
        return found
    for axis, same in enumerate(series):
        told = []
        for start, other, length in same:
            one, two = slice(start, start + length), slice(other, other + length)
            apart = np.abs(place[one] - place[two]) * scale
            elsewhere = np.hypot(apart[:, 0], apart[:, 1]) if axis == 2 else apart[:, 1 - axis]
            if elsewhere.max() < _ELSEWHERE or np.ptp(elsewhere) <= _PARALLEL:
                continue
            if _by_chance(place[:, axis] * scale[axis], one, two, digit(place[one, axis], axis)) <= _CHANCE:
                told.append((axis, start, other, length))
        if len(told) < _SERIES and sum(length for *_, length in told) <= _SHARE * len(place):
            found += told
    return found


def _series(values: Floats) -> list[tuple[int, int, int]]:
    """Return the start of each series of (n,) numbers that comes again, the start of the second one, and its length.

    Three neighbours at the least are the same to the bit, and no two of them are.
    """
    bits = (values + 0.0).view(np.uint64)
    mixed = bits * _MIXING[0]
    mixed ^= mixed >> np.uint64(29)
    hashes = mixed[:-2] * _MIXING[1] + mixed[1:-1] * _MIXING[2] + mixed[2:]
    ordered = np.sort(hashes)  # faster than to find their order, and mostly none is there twice
    if not (ordered[1:] == ordered[:-1]).any():
        return []
    order = np.argsort(hashes, kind="stable")
    again = np.flatnonzero(hashes[order[1:]] == hashes[order[:-1]])
    if not len(again) or len(again) > _SHARE * len(values):
        return []
    one, other = order[again], order[again + 1]
    three = values[one[:, None] + np.arange(_LEAST)]
    same = (three == values[other[:, None] + np.arange(_LEAST)]).all(axis=1) & (other - one >= _LEAST)
    own = (three[:, 0] != three[:, 1]) & (three[:, 1] != three[:, 2]) & (three[:, 0] != three[:, 2])
    return [*_joined(one[same & own], other[same & own])]


def _joined(one: Integers, other: Integers) -> Iterator[tuple[int, int, int]]:
    """Yield the start, the start of the second and the length of series, by the starts of their threes."""
    by_lag = defaultdict[int, list[int]](list)
    for start, lag in zip(one.tolist(), (other - one).tolist(), strict=True):
        by_lag[lag].append(start)
    for lag, starts in by_lag.items():
        starts.sort()
        edges = [0, *(n for n in range(1, len(starts)) if starts[n] != starts[n - 1] + 1), len(starts)]
        for begin, end in pairwise(edges):
            yield starts[begin], starts[begin] + lag, min(end - begin + _LEAST - 1, lag)


def _by_chance(metres: Floats, one: slice, two: slice, digit: float) -> float:
    """Return how many such series chance makes among (n,) numbers that differ as much as those about both of them.

    The first numbers agree as often as such that spread like the numbers there, each next one as the steps do, and all
    as often as those before and behind them differ by next to nothing: of two edges of a road, or of rows of a grid.
    """
    spread, steps = [], []
    for of in (one, two):
        near = metres[max(of.start - _AROUND, 0) : of.stop + _AROUND]
        spread.append(_deviation(near))
        steps.append(_deviation(np.diff(near)))
    lag = two.start - one.start
    before = np.arange(max(one.start - _AROUND, 0), one.start)
    behind = np.arange(one.stop, min(one.stop + _AROUND, len(metres) - lag))
    beside = np.concatenate([before, behind])
    between = _NORMAL * float(np.nanmedian(np.abs(metres[beside + lag] - metres[beside]))) if len(beside) else np.inf
    if not min(*spread, *steps, between) > 0.0:
        return np.inf
    likely = _SAFE * digit / (_ALIKE * np.array([min(spread), min(steps)]))
    first, following = np.minimum(np.maximum(likely, _SAFE * digit / (_ONE * between)), 1.0).tolist()
    return float(0.5 * len(metres) ** 2 * first * following ** (one.stop - one.start - 1))


def _deviation(values: Floats) -> float:
    return _NORMAL * float(np.nanmedian(np.abs(values - np.nanmedian(values))))
