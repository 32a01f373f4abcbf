"""Pairs of readings that all differ by one vector: no rover measures so; one of each was corrected since."""

import numpy as np

from pipeline.arrays import Flags, Floats

#: Metres within which vectors are one: a correction in space turns by a few millimetres over some kilometres.
_ONE = 0.02
#: Fewer pairs may differ alike by chance.
_LEAST = 3
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


def _near(one: Floats, other: Floats, rounding: Floats) -> Flags:
    return np.asarray((np.abs(one - other) <= np.maximum(_ONE, rounding)).all(axis=-1))
