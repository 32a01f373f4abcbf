"""Differences that are one vector, by closed form: planted vectors, noise of known size, places on a grid."""

import numpy as np
import pytest

from pipeline.duplicates import in_step

NONE = np.full((30, 3), 0.001)
PLACES = np.column_stack([np.arange(30) * 20.0, np.arange(30) % 4 * 15.0])


def vectors(size: float) -> np.ndarray:
    return np.array([0.5, -1.0, 4.0]) + np.random.default_rng(2).uniform(-size, size, (30, 3))


def test_one_vector_is_found_and_scatter_is_not() -> None:
    assert in_step(vectors(0.004), NONE, PLACES).all()
    assert in_step(vectors(2.0), NONE, PLACES) is None


def test_what_was_edited_or_knocked_in_between_is_left_out() -> None:
    some = vectors(0.004)
    some[20:] += np.random.default_rng(3).uniform(1, 2, (10, 3))
    found = in_step(some, NONE, PLACES)
    assert found[:20].all() and not found[20:].any()
    some[20:] = vectors(0.004)[20:] + np.array([0.0, 0.3, 0.0])
    assert in_step(some, NONE, PLACES).tolist() == [True] * 20 + [False] * 10


def test_receivers_that_stand_still_say_nothing() -> None:
    assert in_step(vectors(0.004), NONE, PLACES * 0.001) is None


@pytest.mark.parametrize("count", [0, 1, 2])
def test_two_may_agree_by_chance(count: int) -> None:
    assert in_step(vectors(0.0)[:count], NONE[:count], PLACES[:count]) is None


def test_what_is_written_coarsely_agrees_within_its_digits() -> None:
    coarse = np.round(vectors(0.06), 1)
    assert in_step(coarse, NONE, PLACES) is None or not in_step(coarse, NONE, PLACES).all()
    assert in_step(coarse, np.full((30, 3), 0.15), PLACES).all()
