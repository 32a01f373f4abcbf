"""Tells readings of one export that two rovers made in turn: one alone would have had to leap to and fro.

Readings scattered at random, or sorted by something else than their time, make no two tracks and are none.
"""

from math import dist

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers

#: Metres a second that nobody moves faster from one measurement to the next, and metres from which on that tells
#: another site. Common practice, no source.
SPEED, LEAST = 30.0, 1_000.0
#: Seconds below which times tell no speed: rows of one time, or of a program that wrote them together.
SOON = 5.0
#: Leaps, and readings of each track, from which on it is no single slip.
LEAPS, _READINGS = 3, 5
#: Metres within which one that is measured again and again stays where it was: a base, or a mark.
_STILL = 0.1
#: Readings that are looked at.
_MOST = 20_000


class Pace(Struct, frozen=True):
    """How fast one rover may go at the most, so that more is two of them.

    Args:
        speed: metres a second that nobody moves faster from one measurement to the next.
        least: metres from which on a leap tells anything.
        leaps: leaps from which on it is no slip.
        own: metres a second within the tracks that nine of ten steps stay below: who sets out points drives now and
            then.
        at_once: metres beside what the speed allows: two readings at one time may be so far apart.
    """

    speed: float
    least: float
    leaps: int
    own: float
    at_once: float


#: Of a rover that may have been driven to another site, and of one on foot on one site; and beyond which two are at
#: work on one site whatever else says so. Common practice, no source.
DRIVEN = Pace(SPEED, LEAST, LEAPS, 10.0, 50.0)
WALKED = Pace(5.0, 50.0, 10, 2.5, 10.0)
HURRIED = Pace(8.0, 100.0, 20, 2.5, 10.0)


class TwoTracks(Struct, frozen=True):
    """How often readings leap; ``at`` is the place of the first one behind a leap, ``metres`` and ``seconds`` its."""

    count: int
    at: int
    metres: float
    seconds: float


def two_tracks(places: Floats, time: Integers, pace: Pace = DRIVEN) -> TwoTracks | None:
    """Return how readings leap between two tracks, None where they do not.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order of time.
        time: (n,) milliseconds, ascending.
        pace: what one rover may go.
    """
    places, time = places[:_MOST], time[:_MOST]
    if len(time) < 2 * _READINGS:
        return None
    rounded = 60.0 if not (time % 60_000).any() else 1.0
    seconds = np.diff(time) / 1000.0
    far = np.sqrt(np.square(np.diff(places, axis=0)).sum(axis=1))
    leaps = np.flatnonzero((far > pace.least) & (far > pace.speed * (seconds + rounded)) & (seconds >= SOON))
    if len(leaps) < pace.leaps or not _are_two(places, time / 1000.0, rounded, pace):
        return None
    first = int(leaps[0])
    return TwoTracks(len(leaps), first + 1, float(far[first]), float(seconds[first]))


def _are_two(places: Floats, time: Floats, rounded: float, pace: Pace) -> bool:
    """Tell whether each reading is within reach of one of two tracks, and both go at the speed of a survey."""
    lasts: list[tuple[list[float], float]] = []
    counts, hasty, speeds = [1, 1], 0, list[float]()
    for place, when in zip(places.tolist(), time.tolist(), strict=True):
        reached = [(dist(place, there), when - then + rounded, track) for track, (there, then) in enumerate(lasts)]
        reached = [one for one in reached if one[0] <= pace.speed * one[1] + pace.at_once]
        if reached:
            away, gone, track = min(reached)
            lasts[track] = place, when
            counts[track] += away > _STILL
            speeds.append(away / gone)
            hasty += speeds[-1] > pace.own
        elif len(lasts) < 2:
            lasts.append((place, when))
        else:
            return False
        if hasty > 0.1 * len(time) + 1:  # more than a tenth of all, whatever follows
            return False
    return min(counts) >= _READINGS and float(np.quantile(speeds, 0.9)) <= pace.own
