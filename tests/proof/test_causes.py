"""The score of a hypothesis, against numbers worked by hand and against scipy."""

import math

import numpy as np
import pytest
from scipy.stats import chi2

from pipeline.proof.causes import RANGE, Evidence, Hypothesis, Kind, read, significance_of


def evidence(difference: list[list[float]], sigma: float = 0.01) -> Evidence:
    """Independent differences, all known, of one standard uncertainty."""
    values = np.array(difference)
    covariance = np.tile(np.eye(len(values)) * sigma**2, (3, 1, 1))
    return Evidence(values, np.ones(values.shape, bool), covariance)


def test_a_whole_prediction_is_charged_for_the_ways_of_its_kind_alone() -> None:
    seen = evidence([[0.18, 0.0, 0.0], [0.0, 0.01, 0.0]])
    fits = Hypothesis(Kind.DIGITS_SWAPPED, "a", np.array([[0.17, 0.0, 0.0], [0.0, 0.0, 0.0]]))
    other = Hypothesis(Kind.DIGITS_SWAPPED, "b", np.array([[1.7, 0.0, 0.0], [0.0, 0.0, 0.0]]))
    (reading,) = read(seen, [fits, other], 0.03, 0.05)
    # what is left: 0.01 in one component of each, each one sigma
    assert reading.chi_square == pytest.approx(2.0)
    assert reading.score == pytest.approx(2.0 + 2.0 * math.log(2))
    assert reading.misfit_horizontal == pytest.approx(0.01)


def test_a_free_vector_is_the_weighted_mean_and_is_charged_per_component() -> None:
    seen = evidence([[0.0, 0.0, 0.0], [0.20, -0.10, 0.30], [0.22, -0.12, 0.30]])
    shape = np.array([[0.0] * 3, [1.0] * 3, [1.0] * 3])
    (reading,) = read(seen, [Hypothesis(Kind.BASE_MOVED, "m", shape, (True, True, True))], 0.03, 0.05)
    np.testing.assert_allclose(reading.size, [0.21, -0.11, 0.30], rtol=0, atol=1e-12)
    np.testing.assert_allclose(reading.sigma, [0.01 / math.sqrt(2)] * 3, rtol=0, atol=1e-12)
    # 0.01 left in four components, each one sigma
    charge = 3 * 2.0 * math.log(RANGE / (0.01 / math.sqrt(2) * math.sqrt(2 * math.pi)))
    assert reading.score == pytest.approx(4.0 + charge)


def test_what_does_no_better_than_an_unexplained_error_may_be_chance() -> None:
    seen = evidence([[0.18, 0.10, 0.07]])
    exact = Hypothesis(Kind.OTHER_MARK, "exact", np.array([[0.18, 0.10, 0.07]]))
    poor = Hypothesis(Kind.FEET, "poor", np.array([[0.155, 0.10, 0.03]]))
    unexplained = Hypothesis(Kind.POINT_UNEXPLAINED, "u", np.ones((1, 3)), (True, True, True))
    many = [Hypothesis(Kind.FEET, "no", np.array([[9.0, 9.0, float(n)]])) for n in range(10**6 // 100)]
    readings = {one.hypothesis.text: one for one in read(seen, [exact, poor, unexplained, *many], 0.03, 0.05)}
    assert not readings["exact"].chance and readings["poor"].chance
    assert readings["exact"].score < readings["u"].score


def test_unknown_components_are_not_compared() -> None:
    seen = Evidence(np.array([[0.1, 0.0, 9.0]]), np.array([[True, True, False]]), np.tile(np.eye(1) * 1e-4, (3, 1, 1)))
    (reading,) = read(seen, [Hypothesis(Kind.OTHER_MARK, "p", np.array([[0.1, 0.0, 0.0]]))], 0.03, 0.05)
    assert reading.chi_square == pytest.approx(0.0) and reading.misfit_vertical == 0.0


@pytest.mark.parametrize("size", [[0.0, 0.0, 0.0], [0.01, 0.02, 0.0], [0.1, -0.03, 0.05]])
def test_significance_is_the_tail_of_chi_square_with_three_degrees(size: list[float]) -> None:
    sigma = np.array([0.01, 0.02, 0.03])
    expected = chi2.sf(((np.array(size) / sigma) ** 2).sum(), 3)
    assert significance_of(np.array(size), sigma) == pytest.approx(expected, rel=1e-9)
