"""Finds coordinates that never have one of the ten digits where the others come as often as chance has it.

So it is where one digit of a column was replaced by another throughout. What was rounded to fives or quarters,
converted, or computed on a lattice lacks several digits, or lacks one in its last place alone.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.read.columns import lengths_of
from pipeline.replace import replace

#: Different numbers of which it can be told; those of an export that are looked at at a time; and the most decimals.
#: Ours, no source, as all that follow.
_LEAST, _SOME, _MOST = 40, 20_000, 11
#: The part of the numbers that may have more decimals than the rest; every how many-th is looked at for that first.
_LEFT_OUT, _TENTH = 0.01, 10
#: The logarithm of the chance, of any digit, below which it is told.
_CHANCE = float(np.log(1e-8))
#: Places from the last on in which the digit is missing, the least: of one place a conversion may leave it out.
_PLACES = 2
#: The part of a tenth that every other digit comes at the least, and that one comes which another was made.
_OTHERS, _TWICE = 0.25, 1.5
#: Numbers from which on every other digit comes so in each place; of fewer, how many may be without in one of them, and
#: the part of all.
_EACH, _WITHOUT, _ODD = 100, 1, 0.05


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
    """Counts digits export by export, so many rows at a time.

    Of these it keeps the numbers (n, 3), as written, with their rows and sessions; ``blocks`` is how often it looked at
    numbers of the export, and ``mine`` what it found in it, with how many of these looks found it.
    """

    told: list[Missing] = field(default_factory=list)
    export: int = -1
    blocks: int = 0
    mine: list[tuple[Missing, int]] = field(default_factory=list)
    numbers: list[Floats] = field(default_factory=list)
    rows: list[Integers] = field(default_factory=list)
    sessions: list[NDArray[np.int32]] = field(default_factory=list)

    def take(self, batch: SiftedBatch) -> None:
        """Take the sound readings of a batch; exports come one after the other."""
        rows = batch.sound_rows
        if rows.number != self.export:
            self._end()
            self.export = rows.number
        points = rows.export.points
        counted = lengths_of(points)
        plan = (1.0 / 3600.0 if points.angles == "dms" else 1.0) if counted.degrees else counted.plan
        begin = 0
        while begin < len(rows.row):
            end = begin + _SOME - sum(map(len, self.rows))
            self.rows.append(rows.row[begin:end])
            self.sessions.append(rows.session[begin:end])
            self.numbers.append(rows.place[begin:end] / np.array([plan, plan, counted.up]))
            if end <= len(rows.row):
                self._look()
            begin = end

    def found(self) -> tuple[Missing, ...]:
        """Return what is missing, each digit of an axis by itself."""
        self._end()
        return tuple(self.told)

    def _end(self) -> None:
        """Look at what is left of the export that was taken, and forget it."""
        self._look()
        self.told += [replace(one, whole=one.whole and times == self.blocks) for one, times in self.mine]
        self.blocks = 0
        self.mine.clear()

    def _look(self) -> None:
        """Look at the numbers that were taken, and forget them."""
        self.blocks += bool(self.rows)
        for axis, values in enumerate(np.concatenate(self.numbers).T if self.rows else ()):
            known = np.isfinite(values)
            rows, sessions = np.concatenate(self.rows)[known], np.concatenate(self.sessions)[known]
            for one in missing_digits(values[known]):
                first, last = int(rows[one.start]), int(rows[one.stop - 1])
                whole = one.stop - one.start == len(rows)
                of = tuple(np.unique(sessions[one.start : one.stop]).tolist())
                missing = (one.digit, one.instead, one.places, one.count, first, last, whole, of)
                self._add(Missing(self.export, axis, *missing))
        self.numbers.clear()
        self.rows.clear()
        self.sessions.clear()

    def _add(self, one: Missing) -> None:
        """Keep what was found, as one with what was found alike in the numbers before."""
        for at, (before, times) in enumerate(self.mine):
            if (before.axis, before.digit, before.instead) == (one.axis, one.digit, one.instead):
                both = replace(
                    before,
                    places=min(before.places, one.places),
                    count=before.count + one.count,
                    last=one.last,
                    whole=before.whole and one.whole,
                    sessions=tuple(sorted({*before.sessions, *one.sessions})),
                )
                self.mine[at] = both, times + 1
                return
        self.mine.append((one, 1))


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
    found = []
    for digit in range(10):
        stretches = list(_stretches(digits, digit))
        told = (_told(values, digits[:places], digit, *ends) for places, *ends in reversed(stretches))
        if (one := next((one for one in told if one is not None), None)) is not None:
            found.append(one)
    return found


def _stretches(digits: NDArray[np.int8], digit: int) -> Iterator[tuple[int, int, int]]:
    """Yield the longest stretch of (decimals, n) digits that lacks one in its last places, for more and more of these.

    Each with how many places, and where it begins and ends; as long as it is long enough.
    """
    there = digits[0] == digit
    for places in range(_PLACES, len(digits) + 1):
        there |= digits[places - 1] == digit
        edges = np.concatenate([[-1], np.flatnonzero(there), [len(there)]])
        longest = int(np.argmax(np.diff(edges)))
        start, stop = int(edges[longest]) + 1, int(edges[longest + 1])
        if stop - start < _LEAST:
            return
        if _is_no_chance(stop - start, places, len(there)):
            yield places, start, stop


def _told(values: Floats, digits: NDArray[np.int8], digit: int, start: int, stop: int) -> Stretch | None:
    """Return a stretch of (n,) numbers without a digit in (places, n); None if chance makes one."""
    _, own = np.unique(values[start:stop], return_index=True)
    count, places = len(own), len(digits)
    if not _is_no_chance(count, places, len(values)):
        return None
    part = digits[:, start + own]
    often = np.array([(part == each).sum(axis=1) for each in range(10)]) / (count / 10.0)
    if not _all_others(np.delete(often, digit, axis=0), count):
        return None
    # of many numbers in a small range most that were changed came out equal to others
    twice = np.array([(digits[:, start:stop] == each).sum() for each in range(10)]) / (places * (stop - start) / 10.0)
    instead = int(np.argmax(np.maximum(twice, often.mean(axis=1))))
    # without a digit that stands for it they are of a lattice, such as of ninths
    if max(twice[instead], often[instead].mean()) < _TWICE:
        return None
    return Stretch(digit, instead, places, count, start, stop)


def _is_no_chance(count: int, places: int, many: int) -> bool:
    """Tell whether no chance makes ``count`` of so many numbers in a row without a digit in their last places."""
    return bool(count >= _LEAST and np.log(10.0 * many) + places * count * np.log(0.9) < _CHANCE)


def _all_others(often: Floats, count: int) -> bool:
    """Tell whether all other digits, (9, places), come as often as chance has it in so many numbers."""
    rare = often < _OTHERS
    if count >= _EACH:
        return not rare.any()
    return int(rare.sum(axis=0).max()) <= _WITHOUT and float(rare.mean()) <= _ODD


def _decimals(values: Floats) -> int:
    """Return how many decimals write nearly all of (n,) numbers, as many as any of the first of them needs."""
    some = values[::_TENTH]
    for number in range(_MOST):
        # more of a part than all may leave out settle it
        if np.count_nonzero(_needs_more(some, number)) <= _LEFT_OUT * len(values) and (
            np.mean(_needs_more(values, number)) < _LEFT_OUT
        ):
            return number
    return _MOST


def _needs_more(values: Floats, decimals: int) -> Flags:
    """Return which of (n,) numbers so many decimals do not write."""
    scaled = values * 10.0**decimals
    close = np.maximum(1e-6, 4.0 * np.finfo(np.float64).eps * scaled)
    return np.less(close, np.abs(scaled - np.rint(scaled)))


def _digits(values: Floats, decimals: int) -> NDArray[np.int8]:
    """Return (decimals, n) the digits of (n,) numbers, the last place first."""
    left: Integers = np.rint(values * 10.0**decimals).astype(np.int64)
    digits = np.empty((decimals, len(values)), np.int8)
    for place in range(decimals):
        tens = left // 10
        digits[place] = left - 10 * tens
        left = tens
    return digits
