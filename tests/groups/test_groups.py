"""Groups that pairs make; against scipy and by hand."""

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from pipeline.groups import group_labels, groups_of


@pytest.mark.parametrize("pairs", [0, 1, 60, 150, 400])
def test_each_group_has_the_label_of_its_lowest(pairs: int) -> None:
    """Against scipy, which numbers the groups in the order of their lowest nodes."""
    random = np.random.default_rng(pairs)
    first, second = random.integers(0, 200, (2, pairs))
    graph = coo_array((np.ones(pairs), (first, second)), shape=(200, 200))
    groups, labels = connected_components(graph, directed=False)
    lowest = np.array([np.flatnonzero(labels == group)[0] for group in range(groups)])
    np.testing.assert_array_equal(group_labels(first, second, 200), lowest[labels])


def test_a_long_chain_is_one_group() -> None:
    """Ten thousand in a random order, each with the next: all have the label 0."""
    order = np.random.default_rng(1).permutation(10_000)
    assert not group_labels(order[:-1], order[1:], 10_000).any()


def test_groups_are_by_their_lowest() -> None:
    assert groups_of(5, [(0, 1), (3, 4), (1, 4)]) == [[0, 1, 3, 4], [2]]
    assert groups_of(3, []) == [[0], [1], [2]]
    assert groups_of(4, [(2, 3), (1, 2), (0, 1)]) == [[0, 1, 2, 3]]
    assert groups_of(0, []) == []
