"""Finds which readings are on which marks from their positions alone, by the one shift that most of them share.

Arrays in, arrays out: positions in a plane, metres.
"""

from dataclasses import dataclass

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.job.model import Checks

#: How far two readings on marks may differ from a common shift, metres: as `checks.radius` where nothing is stated.
TOLERANCE = Checks().radius
#: Pairs of a reading and a mark that are weighed against one another at most.
_MOST = 3_000


@dataclass(frozen=True)
class Agreement:
    """Pairs of reading and mark (k,), what is added to readings (2,), and how many marks have it in common.

    ``spread`` is the largest difference of a pair from the shift, metres.
    """

    readings: Integers
    marks: Integers
    shift: Floats
    distinct: int
    spread: float

    @property
    def size(self) -> float:
        """The length of the shift, metres."""
        return float(np.hypot(*self.shift))


class Names(Struct, frozen=True):
    """Which mark readings are called after, (n,), -1 for none, and the first mark (m,) that has each mark's name.

    Of pairs farther apart than ``beyond`` metres those are no pairs of which the reading is called after another mark.
    """

    readings: Integers
    marks: Integers
    beyond: float


def agreement(
    readings: Floats | None,
    marks: Floats | None,
    within: float,
    tolerance: float = TOLERANCE,
    names: Names | None = None,
) -> Agreement | None:
    """Return what most marks agree on, None where no reading lies within so many metres of a mark.

    Args:
        readings: (n, 2) positions that may stand on marks; NaN where there is none, None where nothing is known.
        marks: (m, 2) their coordinates.
        within: the largest shift looked for, metres.
        tolerance: how far a pair may lie from the common shift, metres.
        names: of readings and marks, where they count.
    """
    if readings is None or marks is None:
        return None
    reading, mark = _near(readings, marks, within)
    if names is not None:
        other = (names.readings[reading] >= 0) & (names.readings[reading] != names.marks[mark])
        kept = ~other | (np.hypot(*(marks[mark] - readings[reading]).T) <= names.beyond)
        reading, mark = reading[kept], mark[kept]
    return _common(readings, marks, reading, mark, tolerance)


def agreement_by_name(
    readings: Floats | None, marks: Floats | None, names: Names, within: float, tolerance: float = TOLERANCE
) -> Agreement | None:
    """Return what most marks agree on with the readings called after them; None for no pair.

    Positions (n, 2) and (m, 2) and lengths in metres are as in `agreement`.
    """
    if readings is None or marks is None:
        return None
    reading = np.flatnonzero(names.readings >= 0)
    mark = names.readings[reading]
    near = np.hypot(*(marks[mark] - readings[reading]).T) <= within
    return _common(readings, marks, reading[near], mark[near], tolerance)


def _common(readings: Floats, marks: Floats, reading: Integers, mark: Integers, tolerance: float) -> Agreement | None:
    """Return what most of the pairs, (k,) each, agree on; None for no pair."""
    if not len(reading):
        return None
    between = marks[mark] - readings[reading]
    order = np.argsort(np.hypot(*between.T), kind="stable")[:_MOST]
    reading, mark, between = reading[order], mark[order], between[order]
    best: tuple[int, int, int] | None = None
    for seed in range(len(reading)):
        close = np.hypot(*(between - between[seed]).T) <= tolerance
        worth = (len(np.unique(mark[close])), len(np.unique(reading[close])), -seed)
        best = worth if best is None or worth > best else best
    assert best is not None
    seed = -best[2]
    shift = np.median(between[np.hypot(*(between - between[seed]).T) <= tolerance], axis=0)
    off = np.hypot(*(between - shift).T)
    kept = _nearest_of_each(reading, off, off <= tolerance)
    return Agreement(reading[kept], mark[kept], shift, len(np.unique(mark[kept])), float(off[kept].max(initial=0.0)))


def _near(readings: Floats, marks: Floats, within: float) -> tuple[Integers, Integers]:
    """Return all pairs that lie within so many metres of one another: by the order of one coordinate."""
    known = np.flatnonzero(np.isfinite(marks).all(axis=1))
    order = known[np.argsort(marks[known, 0], kind="stable")]
    along = marks[order, 0]
    sound = np.flatnonzero(np.isfinite(readings).all(axis=1))
    first = np.searchsorted(along, readings[sound, 0] - within)
    last = np.searchsorted(along, readings[sound, 0] + within, side="right")
    count = last - first
    reading = np.repeat(sound, count)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
    mark = order[place]
    near = np.hypot(*(marks[mark] - readings[reading]).T) <= within
    return reading[near], mark[near]


def _nearest_of_each(reading: Integers, off: Floats, allowed: Flags) -> Integers:
    """Return of each reading the pair that lies nearest to the shift, of those allowed, in order of readings."""
    order = np.lexsort((off, reading))
    order = order[allowed[order]]
    first = np.ones(len(order), bool)
    first[1:] = reading[order][1:] != reading[order][:-1]
    kept: Integers = order[first]
    return kept
