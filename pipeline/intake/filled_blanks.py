"""Blanks of one coordinate that were filled from above: most rows of a stretch have the number of the row before.

So it is where a table kept a number only where it changed, or one number was copied down nearly a whole column. Few
rows are left then that have one of their own, which `filled_down` asks for; that readings of places apart agree so
often is told from how seldom those of one straight line, or of one level, agree by chance.
"""

from collections.abc import Callable

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.filled_down import Filled
from pipeline.intake.number_steps import coarse_step
from pipeline.intake.shared_numbers import digit_of_all
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.plausible.chance import log_of_so_many
from pipeline.read.columns import lengths_of

#: Rows that have the number of the one before, the least: heights, which may be of one level. Ours, as all that follow.
_LEAST, _LEAST_UP = 3, 5
#: Metres that places are apart at the least: in plan the other coordinate alone counts.
_ELSEWHERE = 2.0
#: Metres that readings scatter by at the least, in plan and upwards, wherever they were made.
_SCATTER = (0.002, 0.002, 0.004)
#: The part of rows that has the number of the one before where blanks were filled: above it a stretch goes on.
_PART = 0.6
#: The logarithm of the chance, of points on one line along the axis or of one level, below which it is told.
_CHANCE = float(np.log(1e-4))
#: Rows with one number that two lines beside each other do not make; the part of such rows in which there are so many;
#: and rows with one number from which, at several numbers, points were laid out in lines.
_RUN, _OF_RUNS, _LINE = 3, 2.0 / 3.0, 5
#: The part of the rows from which one number is that of all.
_ONE = 0.8
#: Of the numbers that come again, the part that has all digits, and how many times as much their last may be worth.
_WHOLE, _ROUND = 0.5, (1.5, 10.5)
#: The part of rows whose other coordinate is one of their own, else they are a lattice; steps that are even, metres,
#: and the part of them from which points were laid out.
_OWN, _EVEN, _LAID_OUT = 0.9, 3e-3, 0.5
#: Metres by which heights along a computed line lie off a straight grade.
_GRADE = 1.5e-3
#: Metres by which heights lie off a grade from the ones before to the ones behind, from which the ground is rough.
_ROUGH = 0.05
#: Numbers by which it is seen whether all are multiples of more than their last digit; metres assumed of fewer heights.
_MANY, _ASSUMED = 9, 1e-3


class Blanks(Struct, frozen=True):
    """A stretch of rows, ``start`` up to ``stop``, of which ``count`` have along an axis the number of the row before.

    ``one`` is whether nearly all have one number, ``digit`` what a last digit is worth [m].
    """

    axis: int
    start: int
    stop: int
    count: int
    one: bool
    digit: float


class Blanked(Struct, frozen=True):
    """The same of an export: ``first`` and ``last`` are row numbers of its file, ``sessions`` those the rows are in."""

    export: int
    axis: int
    first: int
    last: int
    rows: int
    count: int
    one: bool
    digit: float
    sessions: tuple[int, ...]


class FilledBlanks(Struct):
    """Collects such stretches, batch by batch."""

    told: list[Blanked] = field(default_factory=list)

    def take(self, batch: SiftedBatch) -> None:
        """Look at the sound readings of a batch."""
        rows = batch.sound_rows
        if not rows.edited:
            return
        for one in filled_blanks(rows.place, rows.metres, rows.digit, lengths_of(rows.export.points).degrees):
            of, many = rows.sessions(slice(one.start, one.stop)), one.stop - one.start
            ends = int(rows.row[one.start]), int(rows.row[one.stop - 1])
            self.told.append(Blanked(rows.number, one.axis, *ends, many, one.count, one.one, one.digit, of))

    def found(self) -> tuple[Blanked, ...]:
        """Return what was found."""
        return tuple(self.told)


def told_once(
    filled: tuple[Filled, ...], blanks: tuple[Blanked, ...]
) -> tuple[tuple[Filled, ...], tuple[Blanked, ...]]:
    """Return rows that were copied down, and stretches with blanks, without what the others tell too.

    Where one run of the former is nearly all of a stretch, it tells more; those that are less lie in the stretch.
    """

    def within(run: Filled, one: Blanked) -> bool:
        return (run.export, run.axis) == (one.export, one.axis) and run.first >= one.first and run.last <= one.last

    def whole(run: Filled, one: Blanked) -> bool:
        alike = (run.export, run.axis) == (one.export, one.axis) and not run.step and not run.counted
        return alike and run.first <= one.last and run.last >= one.first and run.count >= _ONE * one.rows

    left = tuple(one for one in blanks if not any(whole(run, one) for run in filled))
    return tuple(run for run in filled if not any(within(run, one) for one in left)), left


def filled_blanks(place: Floats, scale: Floats, digit: Callable[[Floats, int], float], degrees: bool) -> list[Blanks]:
    """Return for each axis the stretch of rows that were most likely filled from above, if there is one.

    Args:
        place: (n, 3) coordinates as given: longitude or easting, latitude or northing, height.
        scale: (3,) metres in one of each.
        digit: gives what the last digit of some coordinates along an axis is worth at the finest, metres.
        degrees: whether positions are degrees.
    """
    if len(place) <= _LEAST:
        return []
    metres = place * scale
    found = []
    for axis in range(3):
        alike = np.diff(place[:, axis]) == 0.0
        least = _LEAST_UP if axis == 2 else _LEAST
        if np.count_nonzero(alike) < least:
            continue
        elsewhere = metres[:, :2] if axis == 2 else metres[:, [1 - axis]]
        apart = np.linalg.norm(np.diff(elsewhere, axis=0), axis=1) >= _ELSEWHERE
        finest = digit(place[:, axis], axis)
        # both coordinates in plan were converted alike, and the other one has more numbers
        judged = place[:, 1 - axis] if axis < 2 else place[:, 2]
        worth = max(finest, _worth(judged, scale[axis], finest, degrees and axis < 2, axis == 2))
        for numbers in (place[:, axis], judged):
            worth = max(worth, coarse_step(numbers, float(scale[axis]), finest, degrees and axis < 2))
        chance = worth / (2.0 * np.sqrt(np.pi) * _SCATTER[axis])
        if chance >= _PART:
            continue
        start, stop = _likeliest(alike & apart, ~alike & apart, chance)
        count, of = int((alike & apart)[start:stop].sum()), int(apart[start:stop].sum())
        if count < least or log_of_so_many(count, of, chance) >= _CHANCE:
            continue
        rows = slice(start, stop + 1)
        one = _of_one_number(place[rows, axis])
        whole = finest * _ROUND[degrees and axis < 2]
        if one is None or not _full(place[rows, axis], whole, digit, axis):
            continue
        if not (_laid_out(metres[rows], axis) if axis < 2 else not one and _smooth(metres[rows])):
            found.append(Blanks(axis, start, stop + 1, count, one, worth))
    return found


def _worth(values: Floats, metre: float, finest: float, degrees: bool, up: bool) -> float:
    """Return what a last digit of (n,) numbers is worth [m], by those that differ."""
    known = np.unique(values[np.isfinite(values)])
    if len(known) < _MANY:
        return max(finest, _ASSUMED) if up else finest
    # so few agree by chance in no step that is tried
    phase = max(0.6, float(np.sqrt(9.0 / len(known))))
    return digit_of_all(known, metre, finest, degrees, min(phase, 0.95))


def _likeliest(alike: Flags, other: Flags, chance: float) -> tuple[int, int]:
    """Return the steps, from one to before another, in which blanks were filled much rather than numbers agree."""
    weight = alike * np.log(_PART / chance) + other * np.log((1.0 - _PART) / (1.0 - chance))
    total = np.concatenate([[0.0], np.cumsum(weight)])
    least = np.minimum.accumulate(total)
    stop = int(np.argmax(total - least))
    start = int(np.argmin(total[: stop + 1]))
    return start, stop


def _of_one_number(values: Floats) -> bool | None:
    """Return whether one number fills (n,) rows, or some fill a few each; None where they may be lines, or pairs."""
    edges = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1], [True]]))
    sizes = np.diff(edges)
    _, counts = np.unique(values, return_counts=True)
    if counts.max() >= _ONE * len(values):
        return True
    repeated = sizes[sizes > 1]
    in_runs = (repeated - 1)[repeated >= _RUN].sum() >= _OF_RUNS * (repeated - 1).sum()
    # numbers that come again later are those of levels
    again = np.count_nonzero(counts > 1) < 0.8 * len(repeated)
    return False if in_runs and not again and float(np.median(repeated)) < _LINE else None


def _full(values: Floats, whole: float, digit: Callable[[Floats, int], float], axis: int) -> bool:
    """Tell whether the numbers that (n,) rows have of the ones before are written with all digits."""
    again: Integers = np.flatnonzero(np.diff(values) == 0.0)
    full = np.array([digit(values[[row]], axis) <= whole for row in again.tolist()])
    return bool(full.mean() > _WHOLE)


def _laid_out(metres: Floats, axis: int) -> bool:
    """Tell whether points (n, 3) with few coordinates along an axis in plan may have been computed."""
    other, up = metres[:, 1 - axis], metres[:, 2]
    moved = np.abs(np.diff(other))
    if len(np.unique(other)) < _OWN * len(other):
        return True
    if np.mean(np.abs(np.diff(moved)) <= _EVEN) >= _LAID_OUT:
        return True
    order = np.argsort(other, kind="stable")
    off = _off_grade(other[order], up[order])
    return bool(len(off) and np.median(off) <= _GRADE)


def _smooth(metres: Floats) -> bool:
    """Tell whether the heights of points (n, 3) change evenly along their way, as on level ground or by design."""
    new = np.flatnonzero(np.concatenate([[True], np.diff(metres[:, 2]) != 0.0]))
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(metres[new, :2], axis=0), axis=1))])
    off = _off_grade(along, metres[new, 2])
    return bool(not len(off) or np.median(off) < _ROUGH)


def _off_grade(along: Floats, up: Floats) -> Floats:
    """Return how far heights (n,), at metres along a line, lie off the straight grade between their neighbours."""
    part = (along[1:-1] - along[:-2]) / np.maximum(along[2:] - along[:-2], _EVEN)
    off = np.abs(up[1:-1] - up[:-2] - part * (up[2:] - up[:-2]))
    known: Floats = off[np.isfinite(off)]
    return known
