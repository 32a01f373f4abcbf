"""Which of many belong together, where only pairs of them are known to."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Integers


def group_labels(first: Integers, second: Integers, count: int) -> Integers:
    """Return (count,) a label of each of ``count`` things, the lowest number in its group.

    ``first`` and ``second`` (n,) are numbers of things that belong together, in pairs; a chain of pairs makes a group.
    Each label is of the same group, and what has the higher label takes the lower one, until no pair has two labels.
    """
    label: Integers = np.arange(count)
    while True:
        lower = np.minimum(label[first], label[second])
        nearer = label.copy()
        for end in (first, second):
            np.minimum.at(nearer, label[end], lower)
        nearer = nearer[nearer]
        if np.array_equal(nearer, label):
            return label
        label = nearer


def groups_of(count: int, pairs: Sequence[tuple[int, int]]) -> list[list[int]]:
    """Return the groups of ``count`` things by their numbers, ascending, each after those with a lower one in them."""
    first, second = np.array(pairs, np.int64).reshape(-1, 2).T
    label = group_labels(first, second, count)
    return [np.flatnonzero(label == lowest).tolist() for lowest in np.unique(label)]
