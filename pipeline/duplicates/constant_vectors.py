"""Detects pairs of readings that differ by one constant vector: one of each pair was corrected since.

Both are one observation, so that the vector is the same but for rounding and the earth's curvature. What two
observations of a point have in common, in the mean, is another question: `draft.common_offsets`.
"""

import numpy as np

from pipeline.arrays import Flags, Floats, Integers

#: Metres within which vectors are one: a correction in space turns by a few millimetres over some kilometres.
_ONE = 0.02
#: Fewer pairs may differ alike by chance.
_LEAST = 3
#: Moments, and places, from which pairs without a name in common tell.
_MOMENTS = 5
#: Metres that computing may add to the rounding of a vector, and of the earth's radius.
_WRITTEN, _RADIUS = 5e-4, 6_371_000.0
#: Metres within which readings are of one place.
_PLACE = 1.0
#: Pairs that are held against each other, evenly spread over all.
_LOOKED_AT = 500


def in_step(vectors: Floats, rounding: Floats, places: Floats) -> Flags | None:
    """Return (n,) which of (n, 3) differences are one vector, of those most are; None where there is no such.

    At least half of all have one in common with two others, at three places or more: two receivers that stand still
    differ alike all day.

    Args:
        vectors: metres east, north and up from one reading of each pair to the other.
        rounding: (n, 3) metres by which writing them down may part two readings.
        places: (n, 2) where the first reading of each pair lies, metres.
    """
    if len(vectors) < _LEAST:
        return None
    some = np.unique(np.linspace(0, len(vectors) - 1, min(len(vectors), _LOOKED_AT)).astype(np.int64))
    near = _near(vectors[some, None], vectors[None, some], np.maximum(rounding[some, None], rounding[None, some]))
    alike = near.sum(axis=1)
    if 2 * np.count_nonzero(alike >= _LEAST) < len(some):
        return None
    best = some[int(np.argmax(alike))]
    middle = np.median(vectors[some[near[int(np.argmax(alike))]]], axis=0)
    found = _near(vectors, middle, np.maximum(rounding, rounding[best]))
    spread = len(np.unique(np.floor(places[found] / _PLACE), axis=0))
    return found if np.count_nonzero(found) >= _LEAST and spread >= _LEAST else None


def copied(time: Integers, pairs: Integers, vectors: Floats, rounding: Floats, places: Floats) -> Flags | None:
    """Return (n,) which of pairs that have but their time in common are one reading written twice; None where none are.

    In at least half of all moments, and in several, pairs have one vector to the rounding, but for what a correction in
    space, or in a grid, turns from place to place. Two rovers have the noise of both in it, whatever carries them; and
    of points that were computed in a row each is the second of one pair and the first of the next.

    Args:
        time: (n,) of each pair, milliseconds.
        pairs: (n, 2) numbers of the readings.
        vectors: metres east, north and up from one reading of each pair to the other.
        rounding: (n, 3) metres by which writing them down may part two readings.
        places: (n, 2) where the first reading of each pair lies: longitude as metres to the east, and latitude.
    """
    moments = len(np.unique(time))
    if moments < _MOMENTS:
        return None
    some = np.unique(np.linspace(0, len(vectors) - 1, min(len(vectors), _LOOKED_AT)).astype(np.int64))
    alike = [np.count_nonzero(_turned(vectors, rounding, places, some, each)) for each in some]
    best = int(some[int(np.argmax(alike))])
    found = _turned(vectors, rounding, places, np.arange(len(vectors)), best)
    if 2 * len(np.unique(time[found])) < moments or np.count_nonzero(found) < _MOMENTS:
        return None
    if len(np.unique(time[found])) < _MOMENTS or np.intersect1d(*pairs[found].T).size:
        return None
    spread = len(np.unique(np.floor(places[found] / _PLACE), axis=0))
    return found if spread >= _MOMENTS else None


def _turned(vectors: Floats, rounding: Floats, places: Floats, which: Integers, one: int) -> Flags:
    """Return (k,) which of vectors are that of ``one``, but for their writing and for how the earth is curved."""
    far = np.hypot(*(places[which] - places[one]).T)
    curved = 1.0 + np.abs(np.tan(places[one, 1] / _RADIUS))
    turns = far / _RADIUS * curved * np.linalg.norm(vectors[one])
    least = np.maximum(rounding[which], rounding[one]) + _WRITTEN + np.minimum(turns, _ONE)[:, None]
    found: Flags = (np.abs(vectors[which] - vectors[one]) <= least).all(axis=-1)
    return found


def _near(one: Floats, other: Floats, rounding: Floats) -> Flags:
    return np.asarray((np.abs(one - other) <= np.maximum(_ONE, rounding)).all(axis=-1))
