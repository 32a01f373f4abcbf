"""Of all writings of one observation the one that counts."""

import numpy as np

from pipeline.arrays import Integers
from pipeline.duplicates.decimals import Codes

#: Share of an export's rows that chance may write with fewer digits than the rest: a tenth of all numbers end in a
#: zero, and along a line one coordinate may be the same throughout.
_BY_CHANCE = 0.2


def settled_rounding(codes: Codes) -> tuple[Codes, bool]:
    """Take out of the codes (n,) of one export what chance makes coarse, and tell whether a mix is left.

    In an export of one rounding a few coordinates end in zeros all the same. Where they are no more than that, every
    row has the rounding of the others.
    """
    if not len(codes):
        return codes, False
    share = np.cumsum(np.bincount(codes, minlength=256)[::-1])[::-1] / len(codes)
    usual = int(np.flatnonzero(share >= _BY_CHANCE)[-1])
    mixed = 1.0 - share[usual] > _BY_CHANCE
    return (codes if mixed else np.maximum(codes, np.uint8(usual))), bool(mixed)


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
    group = np.arange(len(numbers))
    while True:
        least = np.minimum(group[places[:, 0]], group[places[:, 1]])
        before = group.copy()
        np.minimum.at(group, places[:, 0], least)
        np.minimum.at(group, places[:, 1], least)
        group = group[group]
        if (group == before).all():
            break
    order = np.lexsort((numbers, -rank, group))
    heads = np.flatnonzero(np.diff(group[order], prepend=-1))
    counts = np.empty(len(numbers), np.int64)
    counts[group[order[heads]]] = numbers[order[heads]]
    first = counts[group]
    again = first != numbers
    return numbers[again], first[again]
