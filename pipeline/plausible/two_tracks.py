"""Tells readings of one export that two rovers made in turn: one alone would have had to leap to and fro.

Readings scattered at random, or sorted by something else than their time, make no two tracks and are none.
"""

from dataclasses import dataclass

import numpy as np

from pipeline.arrays import Floats, Integers

#: Metres a second that nobody moves faster from one measurement to the next, and metres from which on that tells
#: another site. Common practice, no source.
SPEED, LEAST = 30.0, 1_000.0
#: Seconds below which times tell no speed: rows of one time, or of a program that wrote them together.
SOON = 5.0
#: Leaps, and readings of each track, from which on it is no single slip.
LEAPS, _READINGS = 3, 5
#: Metres a second within the tracks that nine of ten steps stay below: who sets out points drives now and then.
_OWN_SPEED = 10.0
#: Metres beside what the speed allows: two readings at one time may be so far apart.
_AT_ONCE = 50.0
#: Readings that are looked at.
_MOST = 20_000


@dataclass(frozen=True)
class TwoTracks:
    """How often readings leap; ``at`` is the place of the first one behind a leap, ``metres`` and ``seconds`` its."""

    count: int
    at: int
    metres: float
    seconds: float


def two_tracks(places: Floats, time: Integers) -> TwoTracks | None:
    """Return how readings leap between two tracks, None where they do not.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order of time.
        time: (n,) milliseconds, ascending.
    """
    places, time = places[:_MOST], time[:_MOST]
    if len(time) < 2 * _READINGS:
        return None
    rounded = 60.0 if not (time % 60_000).any() else 1.0
    seconds = np.diff(time) / 1000.0
    far = np.sqrt(np.square(np.diff(places, axis=0)).sum(axis=1))
    leaps = np.flatnonzero((far > LEAST) & (far > SPEED * (seconds + rounded)) & (seconds >= SOON))
    if len(leaps) < LEAPS or not _are_two(places, time / 1000.0, rounded):
        return None
    first = int(leaps[0])
    return TwoTracks(len(leaps), first + 1, float(far[first]), float(seconds[first]))


def _are_two(places: Floats, time: Floats, rounded: float) -> bool:
    """Tell whether each reading is within reach of one of two tracks, and both go at the speed of a survey."""
    tracks: list[list[int]] = []
    speeds = list[float]()
    for row in range(len(time)):
        best: tuple[float, float, int] | None = None
        for number, track in enumerate(tracks):
            gone = float(time[row] - time[track[-1]]) + rounded
            away = float(np.linalg.norm(places[row] - places[track[-1]]))
            if away <= SPEED * gone + _AT_ONCE and (best is None or away < best[0]):
                best = away, gone, number
        if best is not None:
            tracks[best[2]].append(row)
            speeds.append(best[0] / best[1])
        elif len(tracks) < 2:
            tracks.append([row])
        else:
            return False
    enough = len(tracks) == 2 and min(map(len, tracks)) >= _READINGS
    return enough and float(np.quantile(speeds, 0.9)) <= _OWN_SPEED
