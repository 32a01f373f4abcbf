"""The readings of each point, joined by pairs."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.draft.repeat_pairs import Pairs
from pipeline.draft.repeat_readings import Readings
from pipeline.groups import group_labels


class Groups(Struct, frozen=True):
    """Readings of points that were measured twice, (k,) by point, then in time.

    ``row`` of the `Readings`; ``start`` (g,) where each point begins; ``kept`` (k,) the row that stands for the point:
    its last reading; ``of`` (k,) the number of the point.
    """

    row: Integers
    start: Integers
    kept: Integers
    of: Integers


def grouped(readings: Readings, pairs: Pairs, joined: Flags) -> Groups:
    """Join the readings of each point by the pairs that are ``joined`` (p,)."""
    one, other = pairs.first[joined], pairs.second[joined]
    label = group_labels(one, other, len(readings.number))
    rows = np.union1d(one, other)
    rows = rows[np.lexsort((readings.number[rows], readings.time[rows], label[rows]))]
    fresh = np.ones(len(rows), bool)
    fresh[1:] = label[rows][1:] != label[rows][:-1]
    start = np.flatnonzero(fresh)
    of = np.cumsum(fresh) - 1
    last = np.append(start[1:], len(rows)) - 1
    return Groups(rows, start, rows[last[of]] if len(rows) else rows, of)
