"""Means that stand among their epochs are found; readings of one place that are measured again are none.

Honest days are made with the scatter that readings have, to the digits that exports have (common practice, no source).
"""

from functools import partial

import numpy as np
import pytest

from pipeline.arrays import Floats, Integers
from pipeline.intake.mean_rows import _named_apart, mean_rows


def occupied(random: np.random.Generator, names: int, epochs: int, decimals: int) -> tuple[Floats, Integers]:
    """Epochs of some points, name by name, in metres."""
    middle = random.uniform(0.0, 200.0, (names, 1, 3))
    drift = np.cumsum(random.normal(0.0, 0.001, (names, epochs, 3)), axis=1)
    place = (middle + drift + random.normal(0.0, 0.004, (names, epochs, 3))).round(decimals)
    return place.reshape(-1, 3), np.repeat(np.arange(names), epochs)


def found(place: Floats, group: Integers, decimals: int) -> list[int]:
    return mean_rows(place, np.ones(3), lambda values, axis: 10.0**-decimals, group).tolist()


@pytest.mark.parametrize(("names", "epochs", "decimals"), [(8, 2, 4), (8, 5, 3), (12, 30, 3), (40, 10, 3), (5, 5, 4)])
@pytest.mark.parametrize("first", [True, False])
def test_means_are_found(first: bool, names: int, epochs: int, decimals: int) -> None:
    told = 0
    for seed in range(20):
        place, group = occupied(np.random.default_rng(seed), names, epochs, decimals)
        means = np.array([place[group == name].mean(axis=0) for name in range(names)]).round(decimals)
        both = np.concatenate([means, place] if first else [place, means])
        groups = np.concatenate([np.arange(names), group] if first else [group, np.arange(names)])
        rows = found(both, groups, decimals)
        told += len(rows) >= 0.9 * names
    assert told >= 18


@pytest.mark.parametrize("decimals", [2, 3, 4, 9])
@pytest.mark.parametrize(("names", "epochs"), [(2, 3), (8, 3), (30, 3), (5, 60), (100, 5), (300, 4), (3, 3_000)])
def test_epochs_without_a_mean_have_none(names: int, epochs: int, decimals: int) -> None:
    for seed in range(30):
        assert found(*occupied(np.random.default_rng(seed), names, epochs, decimals), decimals) == [], seed


def test_rows_that_are_one_have_none() -> None:
    """A controller that stood still: all of it is one position, which is its own mean."""
    place = np.repeat(np.random.default_rng(0).uniform(0.0, 200.0, (9, 3)).round(3), 5, axis=0)
    assert found(place, np.repeat(np.arange(9), 5), 3) == []


@pytest.mark.parametrize("count", [0, 1, 5])
def test_what_is_no_coordinate_does_no_harm(count: int) -> None:
    digit = partial(lambda values, axis: np.inf)
    assert mean_rows(np.full((count, 3), np.nan), np.ones(3), digit, np.zeros(count, np.int64)).tolist() == []


@pytest.mark.parametrize(
    ("names", "together"),
    [
        (["cp1 1", "cp1 2", "cp1 mean"], [0, 0, 0]),
        (["cp1-1", "cp1-2", "cp1-m"], [0, 0, 0]),
        (["cp1_1", "cp1_2", "cp1"], [0, 0, 0]),
        (["cp1 (1)", "cp1 (2)", "cp1 (mittel)"], [0, 0, 0]),
        (["cp1-1", "cp1-m"], [-1, -1]),
        (["cp1-1", "cp1-2", "cp1-3"], [-1, -1, -1]),
        (["cp1-1", "cp1-2", "cp1-a", "cp1-b"], [-1] * 4),
        (["p1", "p2", "p"], [-1, -1, -1]),
        (["k 1", "k 1", "k 2", "k m"], [-1] * 4),
    ],
)
def test_names_apart_from_their_mean(names: list[str], together: list[int]) -> None:
    different = list(dict.fromkeys(names))
    group = np.array([different.index(name) for name in names], np.int64)
    assert _named_apart(different, group).tolist() == together
