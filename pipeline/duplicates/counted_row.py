"""Chooses the row that counts among several of one observation."""

import numpy as np

from pipeline.arrays import Integers
from pipeline.groups import group_labels

#: Share of an export's rows that chance may write with fewer digits than the rest: a tenth of all numbers end in a
#: zero, and along a line one coordinate may be the same throughout.
_BY_CHANCE = 0.2


def usual_rounding(counts: Integers) -> tuple[int, bool]:
    """Return the code of the rounding that the rows of one export have at least, and whether they are a mix.

    In an export of one rounding a few coordinates end in zeros by chance. Where they are no more than that, every row
    has the rounding of the others; in a mix each has its own, and the code is 0.

    Args:
        counts: (256,) rows by code.
    """
    if not counts.any():
        return 0, False
    share = np.cumsum(counts[::-1])[::-1] / counts.sum()
    usual = int(np.flatnonzero(share >= _BY_CHANCE)[-1])
    mixed = bool(1.0 - share[usual] > _BY_CHANCE)
    return 0 if mixed else usual, mixed


def grouped(pairs: Integers, better: Integers) -> tuple[Integers, Integers]:
    """Return the readings that repeat another, and which.

    Args:
        pairs: (k, 2) numbers of readings that are one observation.
        better: (k, 2) for each of them how much its reading is to be preferred; of equals the earlier one counts.

    Returns:
        (m,) the numbers of the readings that are not the one that counts, ascending, and (m,) the number of that.
    """
    numbers, places = np.unique(pairs, return_inverse=True)
    places = places.reshape(pairs.shape)
    rank = np.zeros(len(numbers), np.int64)
    rank[places.ravel()] = better.ravel()
    group = group_labels(places[:, 0], places[:, 1], len(numbers))
    order = np.lexsort((numbers, -rank, group))
    heads = np.flatnonzero(np.diff(group[order], prepend=-1))
    counts = np.empty(len(numbers), np.int64)
    counts[group[order[heads]]] = numbers[order[heads]]
    first = counts[group]
    again = first != numbers
    return numbers[again], first[again]
