"""Occupations against their marks; expectations by hand."""

import numpy as np

from pipeline.solve.differences import differences
from pipeline.tolerance import Tolerance


def test_observed_minus_known_component_by_component() -> None:
    known = np.array([[1000.0, 2000.0, 50.0], [1000.0, 2000.0, np.nan], [np.nan, np.nan, 50.0]])
    observed = np.array([[1000.03, 1999.96, 50.02], [1000.0, 2000.0, 51.0], [1.0, 2.0, 49.0]])
    holds = np.array([[True, True], [True, False], [False, True]])
    found = differences(observed, known, holds, Tolerance(0.051, 0.05))
    np.testing.assert_allclose(found.east, [0.03, 0.0, np.nan], rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.north, [-0.04, 0.0, np.nan], rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.height, [0.02, np.nan, -1.0], rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.horizontal, [0.05, 0.0, np.nan], rtol=0, atol=1e-9)
    assert found.passed.tolist() == [True, True, False]
    assert found.judged.tolist() == [True, True, True]
    assert found.tolerance == Tolerance(0.051, 0.05)


def test_a_mark_that_holds_nothing_judges_nobody() -> None:
    found = differences(np.zeros((1, 3)), np.full((1, 3), 9.0), np.zeros((1, 2), bool), Tolerance(0.03, 0.05))
    assert found.judged.tolist() == [False]
