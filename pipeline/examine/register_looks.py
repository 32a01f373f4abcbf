"""Checks a register of control marks before it is used, from its numbers alone and a few readings.

Places are longitude and latitude in degrees, (R, 2), NaN where a mark has none; distances between them are taken on a
sphere, which is good to half a percent: enough to tell decimetres from metres and a job's area from another country.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.sphere import DEGREE, apart

#: Metres within which two names are taken for one mark. Common practice, no source.
ONE_MARK = 0.5

#: Marks of one square that each mark is compared with.
_MOST_IN_ONE = 20


class Pair(Struct, frozen=True):
    """Two marks, by number, that lie close together: ``distance`` metres in plan."""

    one: int
    other: int
    distance: float


def close_pairs(places: Floats, within: float) -> list[Pair]:
    """Return the marks, (R, 2) degrees, that lie ``within`` metres of one another, each pair once, in their order.

    Places are sorted into squares as wide as that, and compared within theirs and with the next ones; where many lie in
    one square, each with the first few of it, so that marks on one heap are not as many pairs as their number squared.
    """
    known = np.flatnonzero(np.isfinite(places).all(axis=1))
    if not len(known):
        return []
    east = (places[known, 0] - places[known[0], 0] + 180.0) % 360.0 - 180.0
    row = np.floor(places[known, 1] * DEGREE / within).astype(np.int64)
    own = _square(row, east, within)
    order = np.argsort(own, kind="stable")
    squares, found = own[order], []
    at = np.arange(len(order))
    for up, right in ((0, 0), (0, 1), (1, -1), (1, 0), (1, 1)):
        wanted = (_square(row + up, east, within) + right)[order]
        first = at + 1 if (up, right) == (0, 0) else np.searchsorted(squares, wanted)
        until = np.searchsorted(squares, wanted, side="right")
        for step in range(_MOST_IN_ONE):
            here = np.flatnonzero(first + step < until)
            found.append(np.column_stack([order[here], order[first[here] + step]]))
            if not len(here):
                break
    pairs = np.sort(known[np.concatenate(found)], axis=1)
    metres = apart(*places[pairs[:, 0]].T, *places[pairs[:, 1]].T)
    near = metres <= within
    by = np.lexsort(pairs[near].T[::-1])
    rows = zip(pairs[near][by].tolist(), metres[near][by].tolist(), strict=True)
    return [Pair(one, other, distance) for (one, other), distance in rows]


def _square(row: Integers, east: Floats, within: float) -> Integers:
    """Return (n,) one number for the square of each place in a row of squares, ``east`` in degrees."""
    along = np.floor(east * DEGREE * np.cos(np.radians(row * within / DEGREE)) / within).astype(np.int64)
    return np.asarray(row * (1 << 32) + along, np.int64)


def distance_from(area: tuple[float, float, float, float], places: Floats) -> Floats:
    """Return (R,) metres from an area to each place, zero inside; NaN where there is no place.

    ``area`` is west, south, east, north in degrees; west greater than east crosses the 180th meridian, and -180 to 180
    goes all the way round.
    """
    west, south, east, north = area
    # not modulo 360: all the way round would be no width at all
    half = (east - west if west <= east else east - west + 360.0) / 2.0
    longitude, latitude = places.T
    away = np.abs((longitude - west - half + 180.0) % 360.0 - 180.0) - half
    above = np.abs(latitude - np.clip(latitude, south, north)) * DEGREE
    beside = np.minimum(*(_from_meridian(side, south, north, longitude, latitude) for side in (west, east)))
    return np.where(away > 0.0, beside, above)


def _from_meridian(meridian: float, south: float, north: float, longitude: Floats, latitude: Floats) -> Floats:
    """Return (R,) metres from a piece of a meridian to places, all in degrees."""
    turn, up = np.radians(longitude - meridian), np.radians(latitude)
    # the whole great circle comes nearest here, on its far half where the pole lies between
    nearest = np.degrees(np.arctan2(np.sin(up), np.cos(up) * np.cos(turn)))
    feet = (np.clip(nearest, south, north), np.full(len(up), south), np.full(len(up), north))
    return np.asarray(np.min([apart(longitude, latitude, meridian, foot) for foot in feet], axis=0))


class Misplaced(Struct, frozen=True):
    """A mark far from the job, ``distance`` metres; ``reading`` is the alternative that puts it there, or None."""

    mark: int
    distance: float
    reading: int | None


def misplaced(
    area: tuple[float, float, float, float], places: Floats, alternatives: Sequence[Floats], far: float, near: float
) -> list[Misplaced]:
    """Return the marks that lie beyond ``far`` metres of the area, with the first reading that brings them ``near``.

    Args:
        area: as for `distance_from`.
        places: (R, 2).
        alternatives: (R, 2) each, the places of all marks by another reading of their coordinates.
        far: metres.
        near: metres, smaller than ``far``.
    """
    distance = distance_from(area, places)
    beyond = np.flatnonzero(distance > far).tolist()
    others = [distance_from(area, other) for other in alternatives] if beyond else []
    found = []
    for mark in beyond:
        fits = (number for number, other in enumerate(others) if other[mark] <= near)
        found.append(Misplaced(mark, float(distance[mark]), next(fits, None)))
    return found


class OddHeight(Struct, frozen=True):
    """A mark, by number, whose height is off by the geoid separation.

    ``sign`` is +1 where it looks like an ellipsoidal height taken for one of the datum, -1 for the opposite;
    ``off`` metres by which it is higher than the readings have it, beside ``against``, marks that agree with them.
    """

    mark: int
    sign: int
    off: float
    separation: float
    against: tuple[int, ...]


def median(values: Floats) -> float:
    """Return the median of (n,) numbers, n > 0, none of them NaN: of a few, far sooner than by `numpy.median`."""
    ordered, half = np.sort(values), len(values) // 2
    return float(ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2)


def odd_heights(session: Integers, mark: Integers, difference: Floats, separation: Floats) -> list[OddHeight]:
    """Return the marks whose height differs from that of the others in a session by the geoid separation.

    A base at a wrong height moves all readings of its session alike, so the marks of one session are compared with one
    another: the most that agree are taken for right, and of two that disagree the one that looks ellipsoidal for wrong.

    Args:
        session: (n,) of each occupation.
        mark: (n,) number of its mark.
        difference: (n,) metres, the mark's ellipsoidal height by the register minus the raw one of the occupation.
        separation: (n,) metres, geoid separation there; below `LEAST_SEPARATION` nothing can be told.
    """
    found: dict[int, OddHeight] = {}
    for number in np.unique(session).tolist():
        here = np.flatnonzero(session == number)
        marks = np.unique(mark[here])
        heights = np.array([median(difference[here[mark[here] == one]]) for one in marks])
        apart = np.array([median(separation[here[mark[here] == one]]) for one in marks])
        for one in _odd(marks, heights, apart):
            found.setdefault(one.mark, one)
    return [found[one] for one in sorted(found)]


#: Metres: a smaller separation is not told from an antenna height, and a larger disagreement is another blunder.
LEAST_SEPARATION, _AGREE = 3.0, 0.3


def _odd(marks: Integers, heights: Floats, separation: Floats) -> list[OddHeight]:
    agreeing = np.abs(heights[:, None] - heights) <= _AGREE
    # of groups that are equally large the one that the others exceed in the separation's direction is taken for right
    rank = agreeing.sum(axis=1) - 1e-6 * np.sign(separation) * np.argsort(np.argsort(heights))
    right = agreeing[int(np.argmax(rank))]
    level = median(heights[right])
    found = []
    for at in np.flatnonzero(~right).tolist():
        off = float(heights[at] - level)
        if abs(separation[at]) >= LEAST_SEPARATION and abs(abs(off) - abs(separation[at])) <= _AGREE:
            sign = 1 if off * separation[at] > 0 else -1
            found.append(OddHeight(int(marks[at]), sign, off, float(separation[at]), tuple(marks[right].tolist())))
    return found


#: Metres in height: half as much again as a base that averaged its own position is off by. Common practice, no source.
BASE_OFF = 15.0
