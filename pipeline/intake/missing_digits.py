"""Finds coordinates that never have one of the ten digits where the others come as often as chance has it.

So it is where one digit of a column was replaced by another throughout. What was rounded to fives or quarters,
converted, or computed on a lattice lacks several digits, or lacks one in its last place alone.
"""

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.read.columns import lengths_of

#: Different numbers of which it can be told; those of an export that are looked at, the first; and the most decimals.
#: Ours, no source, as all that follow.
_LEAST, _SOME, _MOST = 100, 20_000, 11
#: The logarithm of the chance, of any digit, below which it is told.
_CHANCE = float(np.log(1e-12))
#: Places from the last on in which the digit is missing, the least: of one place a conversion may leave it out.
_PLACES = 2
#: The part of a tenth that every other digit comes at the least, and that one comes which another was made.
_OTHERS, _TWICE = 0.25, 1.5


class Missing(Struct, frozen=True):
    """Digit ``digit`` is in none of the last ``places`` of ``count`` numbers of an export along an axis.

    ``instead`` is the digit that is there twice as often as others, ``first`` and ``last`` are the rows of the file
    between which it is so, ``whole`` is whether these are all that were looked at, ``sessions`` those they are in.
    """

    export: int
    axis: int
    digit: int
    instead: int
    places: int
    count: int
    first: int
    last: int
    whole: bool
    sessions: tuple[int, ...]


class MissingDigits(Struct):
    """Counts digits export by export.

    Of one at a time it keeps the numbers (n, 3), as written, with their rows and sessions.
    """

    told: list[Missing] = field(default_factory=list)
    export: int = -1
    numbers: list[Floats] = field(default_factory=list)
    rows: list[Integers] = field(default_factory=list)
    sessions: list[NDArray[np.int32]] = field(default_factory=list)

    def take(self, batch: SiftedBatch) -> None:
        """Take the sound readings of a batch; exports come one after the other."""
        rows = batch.sound_rows
        if rows.number != self.export:
            self._look()
            self.export = rows.number
        most, points = _SOME - sum(map(len, self.rows)), rows.export.points
        if not most or not len(rows.row):
            return
        counted = lengths_of(points)
        plan = (1.0 / 3600.0 if points.angles == "dms" else 1.0) if counted.degrees else counted.plan
        self.rows.append(rows.row[:most])
        self.sessions.append(rows.session[:most])
        self.numbers.append(rows.place[:most] / np.array([plan, plan, counted.up]))

    def found(self) -> tuple[Missing, ...]:
        """Return what is missing, each digit of an axis by itself."""
        self._look()
        return tuple(self.told)

    def _look(self) -> None:
        """Look at the export that was taken, and forget its numbers."""
        for axis, values in enumerate(np.concatenate(self.numbers).T if self.rows else ()):
            known = np.isfinite(values)
            rows, sessions = np.concatenate(self.rows)[known], np.concatenate(self.sessions)[known]
            for one in missing_digits(values[known]):
                first, last = int(rows[one.start]), int(rows[one.stop - 1])
                whole = one.stop - one.start == len(rows)
                of = tuple(np.unique(sessions[one.start : one.stop]).tolist())
                missing = (one.digit, one.instead, one.places, one.count, first, last, whole, of)
                self.told.append(Missing(self.export, axis, *missing))
        self.numbers.clear()
        self.rows.clear()
        self.sessions.clear()


class Stretch(Struct, frozen=True):
    """Numbers ``start`` up to ``stop``, of which ``count`` differ, with the rest as `Missing` has it."""

    digit: int
    instead: int
    places: int
    count: int
    start: int
    stop: int


def missing_digits(values: Floats) -> list[Stretch]:
    """Return for each digit the longest stretch of finite (n,) numbers that lacks it among their last decimals."""
    values = np.abs(values)
    if len(values) < _LEAST:
        return []
    decimals = _decimals(values)
    # a number of 53 bits has no more than fifteen digits
    if decimals < _PLACES or np.log10(max(float(values.max()), 1.0)) + decimals >= 15.0:
        return []
    digits = _digits(values, decimals)
    there = [(digit, places) for digit in range(10) for places in range(decimals, _PLACES - 1, -1)]
    found: dict[int, Stretch] = {}
    for digit, places in there:
        if digit not in found and (one := _longest(values, digits[:places], digit)) is not None:
            found[digit] = one
    return list(found.values())


def _longest(values: Floats, digits: NDArray[np.int8], digit: int) -> Stretch | None:
    """Return the longest stretch of (n,) numbers without a digit in (places, n); None if chance makes one."""
    edges = np.concatenate([[-1], np.flatnonzero((digits == digit).any(axis=0)), [len(values)]])
    longest = int(np.argmax(np.diff(edges)))
    start, stop = int(edges[longest]) + 1, int(edges[longest + 1])
    _, own = np.unique(values[start:stop], return_index=True)
    count, places = len(own), len(digits)
    by_chance = np.log(10.0 * len(values)) + places * count * np.log(0.9)
    if count < _LEAST or by_chance >= _CHANCE:
        return None
    part = digits[:, start + own]
    often = np.array([(part == each).sum(axis=1) for each in range(10)]) / (count / 10.0)
    instead = int(np.argmax(often.sum(axis=1)))
    # without a digit that stands for it they are of a lattice, such as of ninths
    if np.delete(often, digit, axis=0).min() < _OTHERS or often[instead].mean() < _TWICE:
        return None
    return Stretch(digit, instead, places, count, start, stop)


def _decimals(values: Floats) -> int:
    """Return how many decimals write nearly all of (n,) numbers, as many as any of the first of them needs."""
    for number in range(_MOST):
        scaled = values * 10.0**number
        off = np.abs(scaled - np.rint(scaled))
        if np.mean(off <= np.maximum(1e-6, 4.0 * np.finfo(np.float64).eps * scaled)) > 0.99:
            return number
    return _MOST


def _digits(values: Floats, decimals: int) -> NDArray[np.int8]:
    """Return (decimals, n) the digits of (n,) numbers, the last place first."""
    left: Integers = np.rint(values * 10.0**decimals).astype(np.int64)
    return np.array([left // 10**place % 10 for place in range(decimals)], np.int8)
