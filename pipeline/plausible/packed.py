"""Tells whether decimal degrees are really packed degrees, minutes and seconds.

In such numbers neither the first two decimals nor the next two reach 60. Decimal degrees of a small site may do without
these digits by chance, since what lies close together shares them. So each stretch of a coordinate that is bare on
either side counts by its length, as if it alone lay anywhere; and short ones count once for each place among the
digits, so that the points of a graticule or of a regular row are not taken for many.
"""

import math
from collections.abc import Iterable

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Floats

#: A hundredth of a degree has a hundred parts, of which seconds use so many.
_PARTS, _USED = 100.0, 60.0
#: Parts without any value that part two stretches: packed degrees have 40 of them at the end of each minute.
_BARE = 30.0
#: Parts from which on a stretch is no repetition of another one, and within which shorter ones lie at one place.
_LONG, _ONE_PLACE = 30.0, 2.0
#: The least chance that one stretch is given: what begins and ends where a minute does may be a coincidence.
_LEAST = 1e-3
#: Degrees to which values are kept, a metre; of so many that memory stays small, and how far beyond 60 rounding leads.
_STEP, _ROUNDED = 1e-5, 1e-4
#: The chance, as a logarithm, below which it is no chance.
CHANCE = math.log(1e-6)


class Packed(Struct):
    """Collects the values of one coordinate: whether all of them can be packed, and how likely decimal degrees can."""

    possible: bool = True
    steps: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))

    def add(self, degrees: Floats) -> None:
        """Take values (n,); those that are not finite say nothing."""
        if not self.possible:
            return
        values = np.abs(degrees[np.isfinite(degrees)])
        if not self._may_be(values):
            self.possible, self.steps = False, self.steps[:0]
            return
        self.steps = np.union1d(self.steps, np.floor(values / _STEP + 1e-3).astype(np.int64))

    def take(self, other: "Packed") -> None:
        """Take what another one collected."""
        self.possible = self.possible and other.possible
        self.steps = np.union1d(self.steps, other.steps) if self.possible else self.steps[:0]

    @staticmethod
    def _may_be(values: Floats) -> bool:
        minutes = np.mod(values, 1.0) * 100.0
        seconds = np.mod(minutes + 1e-9, 1.0) * 100.0
        return bool(((minutes < _USED + _ROUNDED) & (seconds < _USED + _ROUNDED)).all())

    def log_chance(self) -> float:
        """Return the natural logarithm of the chance that decimal degrees are so; 0 where they cannot be packed."""
        if not self.possible or len(self.steps) < 2:
            return 0.0
        parts = self.steps.astype(np.float64) * (_STEP * 1e4)
        ends = np.flatnonzero(np.diff(parts) >= _BARE)
        first, last = parts[np.r_[0, ends + 1]], parts[np.r_[ends, len(parts) - 1]]
        length = last - first
        long = length > _LONG
        chances: Floats = np.clip((_USED - length) / _PARTS, _LEAST, 1.0)
        return float(np.log(chances[long]).sum()) + _of_short(first[~long], np.log(chances[~long]))


def _of_short(first: Floats, logs: Floats) -> float:
    """Return what short stretches say together: as many as lie at places, and at distances, of their own.

    The points of a graticule lie at one place among the digits, those of a regular row at one distance.
    """
    if not len(first):
        return 0.0
    places = len(np.unique(np.floor(np.mod(first, _PARTS) / _ONE_PLACE)))
    apart = len(np.unique(np.floor(np.mod(np.diff(first), _PARTS) / _ONE_PLACE)))
    return float(logs.mean()) * min(places, apart + 1)


def are_packed(coordinates: Iterable[Packed], tried: int = 1) -> bool:
    """Tell whether longitudes and latitudes are packed beyond chance, where ``tried`` files are looked at."""
    both = list(coordinates)
    return all(one.possible for one in both) and sum(one.log_chance() for one in both) < CHANCE - math.log(tried)


def is_packed(longitude: Floats, latitude: Floats) -> bool:
    """Tell whether places (n,), degrees of one file, are packed beyond chance; what is not finite says nothing."""
    known = np.isfinite(longitude + latitude)
    axes = Packed(), Packed()
    for axis, values in zip(axes, (longitude, latitude), strict=True):
        axis.add(values[known])
    return are_packed(axes)


def unpacked(degrees: float) -> str:
    """Return packed degrees as they would have to be read, as 48°12'38.621"."""
    thousandths = round(abs(degrees) * 1e7)
    whole, rest = divmod(thousandths, 10_000_000)
    minutes, seconds = divmod(rest, 100_000)
    return f"{'-' if degrees < 0 else ''}{whole}°{minutes:02d}'{seconds / 1000:06.3f}\""
