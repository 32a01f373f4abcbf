"""Tells whether two positions of the same rows, in degrees or in any plane, are one but for a shift and a projection.

A position of another day, or of a design, scatters about the measured one: row by row it differs otherwise. One in
another datum, calibrated, or of a session with another field shift does not, or in a few places only.
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.sphere import DEGREE

#: Semi-major axis [m] and first eccentricity squared of GRS 80 (Moritz 2000); any ellipsoid would do here.
_AXIS, _ECCENTRICITY = 6_378_137.0, 0.006694380022903
#: Rows that are needed, and that are compared at most.
LEAST, MOST = 12, 2_000
#: Metres that two may differ besides their digits; and more than which they are of other places, or no such numbers.
_ALLOWED, _ELSEWHERE = 0.05, 30.0
#: The part of the site by which rows may differ where the two are positions of the same rows at all.
_LIKE = 0.1
#: What the terms of third order, which are left out, are small by beside the cube of a site over the earth's radius.
_THIRD = 8.0
#: The part of the rows, and how many at least, that differ each for itself where two positions are not one. Ours.
_MANY, _FEW = 0.1, 4
#: Differences from which on there are more than rovers and sessions with shifts of their own.
_UNLIKE = 8
#: Rows from which on some that differ by one vector are a stretch, and stretches beyond which somebody works so: two
#: rovers in one file, each with a calibration of its own.
_RUN, _STRETCHES = 3, 3
#: The part of the rows of a stretch that have its vector.
_STEADY = 0.9
#: Metres within which all rows lie that are a base's, not readings.
_ONE_PLACE = 1.0
#: Turns of the search for the plane that most rows follow, and metres below which a row's weight grows no more.
_TURNS, _FLAT = 25, 1e-4

#: Decimals from which on digits leave nothing out.
_DECIMALS = 10

#: Rows that tell whether two positions are similar there, and metres within which they are: no receiver without
#: corrections is so close. Common practice, no source.
SIMILAR, _AGREE = 3, 0.3

_Complex = NDArray[np.complex128]


class Stretch(Struct, frozen=True):
    """Rows compared, from ``start`` to before ``stop``, that differ by one vector of so many metres from those around.

    The rows before and behind them differ alike: something was switched on and off again, or edited.
    """

    start: int
    stop: int
    apart: float


class TwoPositions(Struct, frozen=True):
    """How two positions of the same rows differ, besides by what most rows have in common.

    Of the rows compared those of ``rows`` (indices) differ otherwise than the rows before and behind them, by up to
    ``most`` metres. ``scattered`` is whether they are too many, and too unlike one another, for slips and field shifts.
    ``known`` are the rows compared (indices), ``planes`` where they lie by either, metres about the middle;
    ``stretches`` those of them that differ by one vector.
    """

    rows: NDArray[np.int64]
    most: float
    scattered: bool
    known: NDArray[np.int64]
    planes: tuple[_Complex, _Complex]
    stretches: tuple[Stretch, ...] = ()

    @property
    def compared(self) -> int:
        """Return how many rows were compared."""
        return len(self.known)

    def agree_at(self, some: Flags) -> bool:
        """Tell whether at ``some`` of the rows compared (k,) the two are one but for shift, turn and scale.

        Three at least, such as occupations of marks: where they agree there, checks agree with either.
        """
        if np.count_nonzero(some) < SIMILAR:
            return False
        first, second = (plane[some] for plane in self.planes)
        terms = np.column_stack([first, np.ones_like(first)])
        rest = second - terms @ np.linalg.lstsq(terms, second, rcond=None)[0]
        return bool(np.abs(rest).max() <= _AGREE)


def two_positions(
    one: tuple[Floats, Floats], other: tuple[Floats, Floats], step: float = 0.0, *, least: float = 0.0
) -> TwoPositions | None:
    """Compare two positions of the same rows; None where they are too few, at one place, or no two of one place.

    Args:
        one: (n,) eastings and northings [any unit], or longitudes and latitudes [deg], NaN where there are none.
        other: (n,) likewise, in whatever projection and datum.
        step: metres by which the last digits of both together may move a row.
        least: metres within which rows may differ besides.
    """
    known = np.flatnonzero(np.isfinite(one[0] + one[1] + other[0] + other[1]) & (one[0] != 0.0) & (other[0] != 0.0))
    known = known[:MOST]
    if len(known) < LEAST:
        return None
    first, second = (_in_metres(pair[0][known], pair[1][known]) for pair in (one, other))
    size = _size(second)
    if min(_size(first), size) < _ONE_PLACE:
        return None
    allowed = max(_ALLOWED, least) + step + size**3 / (_THIRD * _AXIS**2)
    before = np.column_stack([first, first.conj(), first**2, first.conj() ** 2])
    before /= np.maximum(np.abs(before).max(axis=0), 1.0)
    ahead, change = np.diff(before, axis=0), np.diff(second)
    solution = _followed_by_most(ahead, change)
    rest = second - before @ solution
    rest -= np.median(rest.real) + 1j * np.median(rest.imag)
    jumps: Flags = np.abs(change - ahead @ solution) > 2.0 * allowed
    off = np.abs(rest)
    if np.median(off) > min(_ELSEWHERE, _LIKE * size):
        return None
    # a session with a field shift of its own jumps where it begins and ends; rows on their own jump twice
    alone = np.concatenate([jumps, [True]]) & np.concatenate([[True], jumps]) & (off > allowed)
    vectors = len(np.unique(np.round(rest[alone] / (2.0 * allowed))))
    count = int(alone.sum())
    scattered = count >= max(_FEW, _MANY * len(known)) and vectors >= max(_FEW - 1, min(0.5 * count, _UNLIKE))
    most = float(off[alone].max(initial=0.0))
    stretches = () if scattered else tuple(_there_and_back(rest, jumps, allowed))
    some = stretches if len(stretches) <= _STRETCHES else ()
    return TwoPositions(known[alone], most, scattered, known, (first, second), some)


def _there_and_back(rest: _Complex, jumps: Flags, allowed: float) -> Iterator[Stretch]:
    """Yield the stretches of (n,) differences between ``jumps`` (n - 1,) behind which all is as it was before them.

    Metres of one vector are ``allowed`` to differ, in a stretch and around it: what wanders has no stretches.
    """
    edges = [0, *(np.flatnonzero(jumps) + 1).tolist(), len(rest)]
    whole = [(start, stop) for start, stop in pairwise(edges) if stop - start >= _RUN]
    level = [np.median(rest[start:stop].real) + 1j * np.median(rest[start:stop].imag) for start, stop in whole]
    steady = [
        float(np.quantile(np.abs(rest[start:stop] - of), _STEADY)) <= allowed
        for (start, stop), of in zip(whole, level, strict=True)
    ]
    at = 1
    while at < len(whole) - 1:
        before, here, after = level[at - 1 : at + 2]
        off = float(abs(here - 0.5 * (before + after)))
        alike = abs(before - after) <= 2.0 * allowed < off and all(steady[at - 1 : at + 2])
        if alike and len(rest) > 2 * (whole[at][1] - whole[at][0]):
            yield Stretch(*whole[at], off)
            at += 1  # what follows is what was before, not another stretch
        at += 1


def are_degrees(first: Floats, second: Floats) -> bool:
    """Tell whether (n,) numbers may be longitudes and latitudes."""
    return bool(np.nanmax(np.abs(first)) <= 360.0 and np.nanmax(np.abs(second)) <= 90.0)


def last_digit(first: Floats, second: Floats) -> float:
    """Return the metres that the last digit of (n,) coordinates is worth; 0 where digits leave nothing out.

    Of degrees along the meridian, those too that were degrees, minutes and seconds; of a plane in its own unit.
    """
    pair = [each[np.isfinite(each)] for each in (first, second)]
    if not all(map(len, pair)):
        return 0.0
    digits = max(map(step_of, pair))
    if not are_degrees(first, second):
        return digits
    return max(digits, *(step_of(each * 3600.0) / 3600.0 for each in pair)) * DEGREE


def step_of(values: Floats) -> float:
    """Return the step to which numbers are rounded; 0 where it leaves nothing out."""
    for decimals in range(_DECIMALS):
        if (np.abs(np.round(values, decimals) - values) <= 1e-11 * np.maximum(np.abs(values), 1.0)).all():
            return float(10.0**-decimals)
    return 0.0


def _in_metres(first: Floats, second: Floats) -> _Complex:
    """Return positions in a plane around their middle; degrees are projected onto a transverse cylinder there.

    To the second order, which over 20 km is good to centimetres.
    """
    if not are_degrees(first, second):
        return np.asarray((first - np.median(first)) + 1j * (second - np.median(second)), np.complex128)
    longitude, latitude = np.radians(first), np.radians(second)
    across = np.angle(np.exp(1j * (longitude - np.median(longitude))))
    sine = np.sin(latitude)
    normal = _AXIS / np.sqrt(1.0 - _ECCENTRICITY * sine**2)
    middle = float(np.median(latitude))
    meridian = _AXIS * (1.0 - _ECCENTRICITY) / (1.0 - _ECCENTRICITY * np.sin(middle) ** 2) ** 1.5
    north = meridian * (latitude - middle) + 0.5 * normal * sine * np.cos(latitude) * across**2
    return np.asarray(normal * np.cos(latitude) * across + 1j * north, np.complex128)


def _size(plane: _Complex) -> float:
    return float(np.hypot(np.ptp(plane.real), np.ptp(plane.imag)))


def _followed_by_most(ahead: _Complex, change: _Complex) -> _Complex:
    """Return the coefficients (4,) with which the sum of the distances left is least: a few jumps move them little."""
    weights = np.ones(len(change))
    solution = np.zeros(ahead.shape[1], np.complex128)
    for _ in range(_TURNS):
        root = np.sqrt(weights)
        solution = np.asarray(np.linalg.lstsq(ahead * root[:, None], change * root, rcond=None)[0], np.complex128)
        weights = 1.0 / np.maximum(np.abs(change - ahead @ solution), _FLAT)
    return solution
