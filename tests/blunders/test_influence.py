"""How an error shows in the differences: four ties whose shift is their mean, one check; expectations are sums by hand.

A raw position that is 0.4 m too far east is a tie that makes the shift 0.1 m smaller: that tie then shows 0.3 m, the
other occupations of the session -0.1 m.
"""

import numpy as np
import pytest
from few_occupations import Occupied, Plain, solved

from pipeline.blunders.influence import Influence
from pipeline.words import Role

MARKS = {"A": (1000.0, 2000.0, 10.0), "B": (1500.0, 2500.0, 20.0)}
SCALE = np.array([0.01, 0.01, 0.02])
TIE, CHECK = Role.TIE, Role.CHECK


@pytest.fixture
def influence() -> Influence:
    """Session 0 with ties A, A, B, B and a check on A; session 1 with a tie on B."""
    occupied = [Occupied(0, mark, TIE) for mark in "AABB"] + [Occupied(0, "A", CHECK), Occupied(1, "B", TIE)]
    return Influence(solved(MARKS, occupied), Plain(), (0, 1), np.arange(6), np.eye(3), SCALE)


def test_a_tie_off_by_a_vector_pulls_the_shift_of_its_own_session_alone(influence: Influence) -> None:
    (shape,) = influence.displaced([0], np.array([[0.4, 0.0, -0.8]]))
    expected = np.array([[0.3, 0.0, -0.6], *[[-0.1, 0.0, 0.2]] * 4, [0.0] * 3, [-0.001, 0.0, 0.004], [0.0] * 3])
    np.testing.assert_allclose(shape, expected, rtol=0, atol=1e-12)


def test_a_check_off_by_a_vector_shows_by_itself(influence: Influence) -> None:
    shapes = influence.displaced([4], np.array([[0.4, 0.1, 0.2], [-0.4, -0.1, -0.2]]))
    expected = np.zeros((8, 3))
    expected[4] = 0.4, 0.1, 0.2
    np.testing.assert_allclose(shapes, [expected, -expected], rtol=0, atol=1e-12)
    np.testing.assert_allclose(influence.elsewhere(4, np.array([[0.4, 0.1, 0.2]])), [expected], rtol=0, atol=1e-12)


def test_all_ties_off_alike_are_seen_at_the_check_alone(influence: Influence) -> None:
    """The shift takes all of it up: the ties agree, and the check is off by the opposite."""
    (shape,) = influence.displaced([0, 1, 2, 3], np.array([[0.4, 0.0, 0.0]]))
    expected = [[0.0] * 3] * 4 + [[-0.4, 0.0, 0.0], [0.0] * 3, [-0.004, 0.0, 0.0], [0.0] * 3]
    np.testing.assert_allclose(shape, expected, rtol=0, atol=1e-12)


def test_an_unknown_error_is_the_known_one_a_metre_along_each_axis(influence: Influence) -> None:
    strength = influence.any_displaced({0: 1.0, 4: 0.5})
    for axis, unit in enumerate(np.eye(3)):
        (shape,) = influence.displaced([0], unit[None]) + influence.displaced([4], 0.5 * unit[None])
        np.testing.assert_allclose(strength[:, axis], shape[:, axis], rtol=0, atol=1e-12)


def test_the_shifts_part_is_that_of_the_ties_own_session(influence: Influence) -> None:
    errors = np.array([[0.4, 0.0, -0.8], [1.0, 2.0, 3.0]])
    np.testing.assert_allclose(
        influence.shift_if_displaced(2, errors), influence.displaced([2], errors)[:, 6], rtol=0, atol=1e-12
    )
    np.testing.assert_allclose(
        influence.shift_if_displaced(5, errors), influence.displaced([5], errors)[:, 7], rtol=0, atol=1e-12
    )


def test_a_register_that_was_mistyped_is_off_at_every_occupation_of_the_mark(influence: Influence) -> None:
    """No observation holds A, so that no shift hangs on what the register says of it."""
    written = np.array(MARKS["A"])
    meant = written + np.array([[0.0, 0.9, 0.0], [0.0, 0.0, -1.0]])
    shape = influence.typed("A", written, meant, written, meant)
    on = [0, 1, 4]
    assert np.flatnonzero(shape.any(axis=(0, 2))).tolist() == on
    np.testing.assert_allclose(shape[0, on], [[0.0, 0.9, 0.0]] * 3, rtol=0, atol=1e-12)
    np.testing.assert_allclose(shape[1, on], [[0.0, 0.0, -1.0]] * 3, rtol=0, atol=1e-12)
    strength = influence.any_typed("A")
    np.testing.assert_allclose(strength[on], -1.0, rtol=0, atol=0)
    assert not np.delete(strength, on, axis=0).any()
