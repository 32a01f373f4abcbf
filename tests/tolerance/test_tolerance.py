"""What passes a tolerance and by how much the rest is beyond it; expectations by the theorem of Pythagoras."""

import numpy as np

from pipeline.tolerance import Tolerance, plan_and_height

TOLERANCE = Tolerance(0.05, 0.10)
BOTH, POSITION, HEIGHT, NOTHING = [True, True], [True, False], [False, True], [False, False]


def test_the_distance_in_plan_counts_not_each_axis() -> None:
    """3, 4, 5 and 5, 12, 13: the first lies on the circle, the second beyond it although each axis is within."""
    off = plan_and_height(np.array([[0.03, 0.04, -0.10], [0.020, 0.048, 0.0], [-0.025, 0.060, 0.0]]))
    np.testing.assert_allclose(off, [[0.05, -0.10], [0.052, 0.0], [0.065, 0.0]], rtol=0, atol=1e-15)
    assert TOLERANCE.passes(np.round(off, 6)).tolist() == [True, False, False]


def test_what_a_mark_does_not_hold_is_not_judged() -> None:
    off = np.array([[0.20, 0.0], [0.20, 0.0], [0.0, -0.35], [0.0, -0.35], [9.0, 9.0]])
    holds = np.array([POSITION, HEIGHT, POSITION, HEIGHT, NOTHING])
    assert TOLERANCE.passes(off, holds).tolist() == [False, True, True, False, True]
    beyond = [[0.15, 0.0], [0.0, 0.0], [0.0, 0.0], [0.0, 0.25], [0.0, 0.0]]
    np.testing.assert_allclose(TOLERANCE.excess(off, holds), beyond, rtol=0, atol=1e-15)


def test_what_is_held_and_unknown_does_not_pass() -> None:
    off = np.array([[np.nan, 0.0], [np.nan, 0.0], [0.0, np.nan]])
    holds = np.array([BOTH, HEIGHT, BOTH])
    assert TOLERANCE.passes(off, holds).tolist() == [False, True, False]
    assert np.isnan(TOLERANCE.excess(off, holds)).tolist() == [[True, False], [False, False], [False, True]]


def test_nothing_beyond_is_the_same_as_passing_in_any_shape() -> None:
    draw = np.random.default_rng(5).normal(0.0, 0.08, (40, 7, 2))
    holds = np.random.default_rng(6).random((40, 7, 2)) < 0.7
    passes = TOLERANCE.passes(draw, holds)
    assert passes.shape == (40, 7) and 0 < passes.sum() < passes.size
    assert ((TOLERANCE.excess(draw, holds) == 0.0).all(axis=-1) == passes).all()


def test_without_a_limit_everything_passes() -> None:
    assert Tolerance(np.inf, np.inf).passes([1e9, -1e9])


def test_the_inputs_are_as_they_were() -> None:
    off, holds = np.array([[-0.2, 0.3]]), np.array([BOTH])
    TOLERANCE.passes(off, holds)
    TOLERANCE.excess(off, holds)
    assert off.tolist() == [[-0.2, 0.3]] and holds.tolist() == [BOTH]
