"""Finds latitudes, longitudes or heights that places apart have in common to the last digit, anywhere in an export.

So it is where a table was joined by a wrong key, or where blanks were filled from above or by the mean: each number is
a likely one, and it does not follow its like. Measured coordinates agree to tenths of millimetres as seldom as chance
has it, which what lies around them tells.
"""

from collections.abc import Callable

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.geodesy.units import METRES
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.plausible.chance import log_of_so_many
from pipeline.read.columns import lengths_of

#: Rows that have the number of another from which it is told, the part of all from which an export is made so, and
#: other rows that there must be. Ours, no source, as all that follow.
_LEAST, _SHARE, _OTHERS = 3, 0.3, 10
#: The logarithm of the chance below which it is told.
_CHANCE = float(np.log(1e-4))
#: Metres that such places are apart at the least; metres of a last digit at the most, in plan and upwards.
_ELSEWHERE, _FINE = 2.0, (1.5e-3, 1.5e-3, 5e-4)
#: How many times as much as the last digit of the others that of such a number may be worth.
_ROUND = 10.5
#: Rows that follow each other with one number from which `filled_down` looks at them, in plan and upwards.
_RUN = (3, 3, 5)
#: Readings of a batch that the finest digit is looked for in, and metres below which none is believed.
_SAMPLE, _FINEST = 256, 1e-5
#: Last digits to either side within which others are counted that nearly agree.
_AROUND = (10, 100, 1_000, 10_000)
#: Rows, evenly spread, that stand for all of a batch in that.
_SOME = 2_000
#: Metres of a step up to which numbers are tried for being multiples of it, how many steps they reach over at the
#: least, and how well they have its phase: none at 0, all at 1.
_STEP, _OVER, _PHASE = 0.02, 8, 0.6


class Shared(Struct, frozen=True):
    """Rows of an export, ``count`` of them, that have the number of another row elsewhere along an axis.

    ``axis`` is which of the three, ``row`` and ``other`` two of them by their numbers in the file, ``digit`` what a
    last digit is worth [m], ``log`` the logarithm of the chance of so many, ``sessions`` those that they are in.
    """

    export: int
    axis: int
    count: int
    row: int
    other: int
    digit: float
    log: float
    sessions: tuple[int, ...]


class SharedNumbers(Struct):
    """Collects such rows, batch by batch."""

    told: list[Shared] = field(default_factory=list)

    def take(self, batch: SiftedBatch) -> None:
        """Look at the sound readings of a batch."""
        rows = batch.sound_rows
        if not rows.edited:
            return
        degrees = lengths_of(rows.export.points).degrees
        for axis, pairs, worth, log in shared_numbers(rows.place, rows.metres, rows.digit, degrees):
            row, other = np.sort(rows.row[pairs[np.argmin(pairs.max(axis=1))]]).tolist()
            self.told.append(Shared(rows.number, axis, len(pairs), other, row, worth, log, rows.sessions(pairs)))

    def found(self) -> tuple[Shared, ...]:
        """Return what was found."""
        return tuple(self.told)


def shared_numbers(
    place: Floats, scale: Floats, digit: Callable[[Floats, int], float], degrees: bool
) -> list[tuple[int, Integers, float, float]]:
    """Return the axis, (k, 2) rows that share a number, metres of a last digit and the logarithm of chance of so many.

    Each row is in as many pairs as it takes to join all that share its number. Where rows share numbers along both axes
    in plan, they were laid out.

    Args:
        place: (n, 3) coordinates as given: longitude or easting, latitude or northing, height.
        scale: (3,) metres in one of each.
        digit: gives what the last digit of some coordinates along an axis is worth at the finest, metres.
        degrees: whether positions are degrees.
    """
    found: dict[int, tuple[Integers, float, float]] = {}
    if len(place) < _OTHERS + _LEAST:
        return []
    metres = place[:, :2] * scale[:2]
    for axis, values in enumerate(place.T):
        ordered = np.sort(values)
        alike = int(np.count_nonzero(ordered[1:] == ordered[:-1]))
        if alike < _LEAST or alike > _SHARE * len(values):
            continue
        worth, known = digit(values[:_SAMPLE], axis), ordered[np.isfinite(ordered)] * scale[axis]
        # the chance of all that are alike comes first: it is not worth looking further at what may well be
        if worth > _FINE[axis] or _log(alike, known, max(worth, _FINEST)) >= _CHANCE:
            continue
        pairs = _pairs(values, metres if axis == 2 else metres[:, [1 - axis]], _RUN[axis])
        own = [number for number, (one, _) in enumerate(pairs) if digit(values[[one]], axis) <= _ROUND * worth]
        pairs = pairs[own]
        worth = digit_of_all(values, scale[axis], max(worth, _FINEST), degrees and axis < 2)
        if len(pairs) < _LEAST or len(values) - len(pairs) < _OTHERS or worth > _FINE[axis]:
            continue
        log = _log(len(pairs), known, worth)
        if log < _CHANCE:
            found[axis] = pairs, worth, log
    if 0 in found and 1 in found and 2 * len(np.intersect1d(found[0][0], found[1][0])) > len(np.unique(found[0][0])):
        del found[0], found[1]
    return [(axis, *one) for axis, one in found.items()]


def _pairs(values: Floats, elsewhere: Floats, run: int) -> Integers:
    """Return (k, 2) which of (n,) numbers are one at places apart, by their other coordinates (n, 1 or 2) [m].

    Left out are those that follow each other, and those whose neighbours share a number too: lines that were laid out
    beside each other, forth and back, or cells that `pasted_cells` finds.
    """
    _, group, many = np.unique(values, return_inverse=True, return_counts=True)
    edges = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1], [True]]))
    place = np.repeat(np.arange(len(edges) - 1), np.diff(edges))
    kept = (np.diff(edges) < run)[place] | np.isin(np.arange(len(values)), edges)
    rows = np.flatnonzero((many[group] > 1) & kept)
    rows = rows[np.lexsort((*elsewhere[rows].T, group[rows]))]
    one, other = rows[:-1], rows[1:]
    apart = np.sqrt(np.square(elsewhere[one] - elsewhere[other]).sum(axis=1))
    which = (group[one] == group[other]) & (apart > _ELSEWHERE)
    low, high = np.minimum(one, other)[which], np.maximum(one, other)[which]
    last, beside = len(values) - 1, np.zeros(len(low), bool)
    for forth, back in ((1, 1), (-1, -1), (1, -1), (-1, 1)):
        first, second = low + forth, high + back
        there = (first >= 0) & (second <= last) & (first < second)
        beside |= there & (values[np.clip(first, 0, last)] == values[np.clip(second, 0, last)])
    return np.column_stack([low, high])[~beside]


def digit_of_all(values: Floats, metre: float, worth: float, degrees: bool, phase: float = _PHASE) -> float:
    """Return what a last digit of (n,) numbers is worth [m] once they are looked at for being multiples of more.

    Numbers were converted, moved by a constant, or kept in half the bytes; ``metre`` is how long one of them is,
    ``phase`` how well they must agree.
    """
    known = values[np.isfinite(values)]
    steps = [float(np.spacing(np.float32(np.median(np.abs(known)))))]
    for unit in (1.0, 1.0 / 60.0, 1.0 / 3600.0) if degrees else METRES.values():
        tens = [ten for power in range(13) if (ten := unit * 0.1**power) <= _STEP / metre]
        steps += [ten / part for ten in tens for part in (1, 2, 4)]
    steps = [step for step in steps if step * metre > 1.2 * worth and np.ptp(known) > _OVER * step]
    for step in sorted(steps, reverse=True):
        if abs(np.exp(2j * np.pi * np.remainder(known / step, 1.0)).mean()) > phase:
            return step * metre
    return worth


def _log(count: int, ordered: Floats, worth: float) -> float:
    """Return the logarithm of the chance that ``count`` of sorted (n,) numbers [m] agree, by how many nearly do."""
    some = ordered[:: len(ordered) // _SOME + 1]
    expected, start = 0.0, np.searchsorted(ordered, some, side="right")
    for digits in _AROUND:
        near = float((np.searchsorted(ordered, some + (digits + 0.5) * worth, side="right") - start).sum())
        expected = max(expected, (near * len(ordered) / len(some) + 1.0) / (2.0 * digits))
    return log_of_so_many(count, len(ordered), expected / len(ordered))
