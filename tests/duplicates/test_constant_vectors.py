"""Differences that are one vector, by closed form: planted vectors, noise of known size, places on a grid."""

import numpy as np
import pytest

from pipeline.duplicates import copied, in_step

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


def of_time(some: np.ndarray, time: np.ndarray | None = None, first: np.ndarray | None = None) -> np.ndarray | None:
    """Hold vectors of pairs without a common name against one another, each of a moment of its own."""
    count = len(some)
    first = np.arange(count) if first is None else first
    time = np.arange(count) * 1000 if time is None else time
    return copied(time, np.column_stack([first, first + 100]), some, NONE[:count], PLACES[:count])


def test_without_names_one_vector_is_one_to_the_rounding() -> None:
    assert of_time(vectors(0.0004)).all()
    assert of_time(vectors(0.010)) is None


def test_without_names_half_of_the_moments_have_the_vector() -> None:
    some = vectors(0.0)
    some[16:] = np.random.default_rng(4).uniform(1, 9, (14, 3))
    assert of_time(some).tolist() == [True] * 16 + [False] * 14
    some[12:] = np.random.default_rng(4).uniform(1, 9, (18, 3))
    assert of_time(some) is None


def test_points_computed_in_a_row_are_no_copies() -> None:
    """Each is the second of one pair and the first of the next; or all have one time, that of their computing."""
    first = np.arange(30)
    pairs = np.column_stack([first, first + 1])
    assert copied(first * 1000, pairs, vectors(0.0), NONE, PLACES) is None
    assert of_time(vectors(0.0), time=np.zeros(30, np.int64)) is None


def test_what_a_correction_in_space_turns_over_kilometres_is_one_vector() -> None:
    """A vector of 10 m up leans by 10 m / 6371 km for every metre to the east: 3 mm over 2 km."""
    places = PLACES * 3.4
    some = np.column_stack([-10.0 * places[:, 0] / 6_371_000.0, np.zeros(30), np.full(30, 10.0)])
    found = copied(np.arange(30), np.column_stack([np.arange(30), np.arange(30) + 50]), some, NONE * 0.1, places)
    assert found.all()
