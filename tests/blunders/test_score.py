"""The score of a hypothesis, against numbers worked by hand and against scipy."""

import math

import numpy as np
import pytest
from scipy.special import chdtrc

from pipeline.blunders.grouped_errors import Covariance, InCommon
from pipeline.blunders.score import (
    Hypothesis,
    Kind,
    OneShape,
    WeighedDifferences,
    charge,
    explain,
    significance_of,
    tail,
)
from pipeline.tolerance import Tolerance

#: Those that a job has unless it says otherwise.
TOLERANCE = Tolerance(0.03, 0.05)


def evidence(difference: list[list[float]], sigma: float = 0.01) -> WeighedDifferences:
    """Independent differences, all known, of one standard uncertainty."""
    values = np.array(difference)
    return WeighedDifferences(values, np.ones(values.shape, bool), Covariance(np.full(values.shape, sigma)))


def test_a_whole_prediction_is_charged_for_the_ways_of_its_kind_alone() -> None:
    seen = evidence([[0.18, 0.0, 0.0], [0.0, 0.01, 0.0]])
    fits = Hypothesis(Kind.DIGITS_SWAPPED, "a", np.array([[0.17, 0.0, 0.0], [0.0, 0.0, 0.0]]))
    other = Hypothesis(Kind.DIGITS_SWAPPED, "b", np.array([[1.7, 0.0, 0.0], [0.0, 0.0, 0.0]]))
    (explanation,) = explain(seen, [fits, other], TOLERANCE)
    # what is left: 0.01 in one component of each, each one sigma
    assert explanation.chi_square == pytest.approx(2.0)
    assert explanation.score == pytest.approx(2.0 + 2.0 * math.log(2))
    assert explanation.misfit_horizontal == pytest.approx(0.01)


def test_a_free_vector_is_the_weighted_mean_and_is_charged_per_component() -> None:
    seen = evidence([[0.0, 0.0, 0.0], [0.20, -0.10, 0.30], [0.22, -0.12, 0.30]])
    shape = np.array([[0.0] * 3, [1.0] * 3, [1.0] * 3])
    (explanation,) = explain(seen, [Hypothesis(Kind.BASE_MOVED, "m", shape, (True, True, True))], TOLERANCE)
    np.testing.assert_allclose(explanation.size, [0.21, -0.11, 0.30], rtol=0, atol=1e-12)
    np.testing.assert_allclose(explanation.sigma, [0.01 / math.sqrt(2)] * 3, rtol=0, atol=1e-12)
    # 0.01 left in four components, each one sigma
    # the shell of that radius, times the logarithm of the thousandfold range of sizes, by the volume of the noise
    radius, noise = math.sqrt(0.21**2 + 0.11**2 + 0.30**2), 0.01 / math.sqrt(2) * math.sqrt(2 * math.pi)
    charged = 2.0 * math.log(4 * math.pi * radius**3 * 6.907755 / noise**3)
    assert explanation.score == pytest.approx(4.0 + charged, abs=1e-6)


def test_of_a_vector_free_in_more_or_fewer_components_the_best_is_told() -> None:
    """An error in position alone is not told once more with a height of nothing."""
    seen = evidence([[0.0, 0.0, 0.0], [0.20, -0.10, 0.0], [0.22, -0.12, 0.0]])
    shape = np.array([[0.0] * 3, [1.0] * 3, [1.0] * 3])
    free = [(True, True, True), (True, True, False), (False, False, True)]
    group = OneShape()
    # a copy of the shape is the same shape
    tried = [Hypothesis(Kind.BASE_MOVED, "m", shape.copy(), parts, group=group) for parts in free]
    (explanation,) = explain(seen, tried, TOLERANCE)
    assert explanation.hypothesis.free == (True, True, False)
    two = [Hypothesis(Kind.BASE_MOVED, "m", 1.0 * shape, free[1]), Hypothesis(Kind.BASE_MOVED, "m", shape, free[1])]
    assert len(explain(seen, two, TOLERANCE)) == 2


@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_charge_is_the_odds_of_a_size_without_scale(count: int) -> None:
    """The noise's own box around the vector, as a share of all vectors: every octave and direction alike."""
    sigma, size = np.zeros(3), np.zeros(3)
    sigma[:count], size[:count] = 0.02, 0.5
    radius = float(np.linalg.norm(size))
    # of all directions and sizes, the box's share: its volume by that of the shell between two radii near the vector's
    inner, outer = radius * 0.999, radius * 1.001
    unit = {1: 2.0, 2: math.pi, 3: 4 / 3 * math.pi}[count]  # the unit ball
    shell = unit * (outer**count - inner**count)
    share_of_shell = math.log(outer / inner) / math.log(10.0 / 0.01)
    box = (0.02 * math.sqrt(2 * math.pi)) ** count
    assert charge(size, sigma) == pytest.approx(-2.0 * math.log(share_of_shell * box / shell), abs=1e-5)


def test_nothing_free_is_charged_nothing_and_no_charge_is_negative() -> None:
    assert charge(np.array([0.3, 0.0, 0.0]), np.zeros(3)) == 0.0
    assert charge(np.zeros(3), np.array([5.0, 5.0, 5.0])) == 0.0


def test_rarer_kinds_are_charged_their_odds_and_left_out_ways_are_counted() -> None:
    seen = evidence([[0.0] * 3, [0.1, 0.0, 0.0], [0.2, 0.0, 0.0]])
    shape = np.array([[0.0] * 3, [1.0] * 3, [2.0] * 3])
    one = {
        kind: Hypothesis(kind, str(kind), shape, (True, False, False)) for kind in (Kind.BASE_DRIFTS, Kind.BASE_MOVED)
    }
    drifts, moved = (explain(seen, [one[kind]], TOLERANCE)[0] for kind in (Kind.BASE_DRIFTS, Kind.BASE_MOVED))
    assert drifts.score - moved.score == pytest.approx(2.0 * math.log(10.0))
    (counted,) = explain(seen, [one[Kind.BASE_MOVED]], TOLERANCE, {Kind.BASE_MOVED: 12})
    assert counted.score - moved.score == pytest.approx(2.0 * math.log(12.0))


def test_a_slack_takes_up_what_it_can_horizontally_and_is_charged() -> None:
    seen = evidence([[3.0, 4.0, 0.01]])
    near = Hypothesis(Kind.DATUM, "d", np.array([[3.6, 4.8, 0.0]]), slack=0.99)
    (explanation,) = explain(seen, [near], TOLERANCE)
    # one metre off, a centimetre of which the slack of 0.99 m leaves: one sigma; and one sigma of height
    assert explanation.misfit_horizontal == pytest.approx(0.01)
    assert explanation.score == pytest.approx(1.0 + 1.0 + 4.0 * math.log(0.99 / 0.02))


def test_common_errors_weigh_once() -> None:
    """Two occupations of one mark off alike: chi-square by the inverse of the whole covariance, from numpy."""
    covariance = np.array([[2.0, 1.0], [1.0, 2.0]]) * 1e-4
    own, common = np.full((2, 3), 0.01), InCommon(np.zeros(2, int), np.full((1, 3), 0.01))
    seen = WeighedDifferences(np.full((2, 3), 0.01), np.ones((2, 3), bool), Covariance(own, marks=common))
    (explanation,) = explain(seen, [Hypothesis(Kind.OTHER_MARK, "none", np.zeros((2, 3)))], TOLERANCE)
    off = np.full(2, 0.01)
    assert explanation.chi_square == pytest.approx(3 * off @ np.linalg.inv(covariance) @ off)


def test_what_does_no_better_than_an_unexplained_error_may_be_chance() -> None:
    seen = evidence([[0.18, 0.10, 0.07]])
    exact = Hypothesis(Kind.OTHER_MARK, "exact", np.array([[0.18, 0.10, 0.07]]))
    poor = Hypothesis(Kind.FEET, "poor", np.array([[0.155, 0.10, 0.03]]))
    unexplained = Hypothesis(Kind.POINT_UNEXPLAINED, "u", np.ones((1, 3)), (True, True, True))
    many = [Hypothesis(Kind.FEET, "no", np.array([[9.0, 9.0, float(n)]])) for n in range(10**6 // 100)]
    explanations = {one.hypothesis.text: one for one in explain(seen, [exact, poor, unexplained, *many], TOLERANCE)}
    assert not explanations["exact"].chance and explanations["poor"].chance
    assert explanations["exact"].score < explanations["u"].score


def test_unknown_components_are_not_compared() -> None:
    known = np.array([[True, True, False]])
    seen = WeighedDifferences(np.array([[0.1, 0.0, 9.0]]), known, Covariance(np.full((1, 3), 0.01)))
    (explanation,) = explain(seen, [Hypothesis(Kind.OTHER_MARK, "p", np.array([[0.1, 0.0, 0.0]]))], TOLERANCE)
    assert explanation.chi_square == pytest.approx(0.0) and explanation.misfit_vertical == 0.0


@pytest.mark.parametrize("size", [[0.0, 0.0, 0.0], [0.01, 0.02, 0.0], [0.1, -0.03, 0.05]])
def test_significance_is_the_tail_of_chi_square_with_three_degrees(size: list[float]) -> None:
    sigma = np.array([0.01, 0.02, 0.03])
    expected = chdtrc(3, ((np.array(size) / sigma) ** 2).sum())
    assert significance_of(np.array(size), sigma) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("chi_square", [0.0, 0.3, 7.815, 16.27, 60.0])
def test_the_tail_is_that_of_scipy(chi_square: float) -> None:
    assert tail(chi_square) == pytest.approx(chdtrc(3, chi_square), rel=1e-9)


def test_a_drifts_rate_and_its_sigma_are_those_of_a_weighted_regression() -> None:
    """Against numpy's polynomial fit of one degree, its constant held at zero by a column of its own."""
    random = np.random.default_rng(3)
    hours, sigma = np.array([0.5, 1.0, 3.0, 6.5, 8.0]), np.array([0.004, 0.01, 0.008, 0.006, 0.012])
    values = -0.013 * hours + random.normal(0, sigma)
    difference = np.column_stack([values, values, values])
    seen = WeighedDifferences(difference, np.ones((5, 3), bool), Covariance(np.tile(sigma[:, None], (1, 3))))
    shape = np.tile(hours[:, None], (1, 3))
    drifts = Hypothesis(Kind.BASE_DRIFTS, "d", shape, (True, True, True))
    (trend,) = explain(seen, [drifts], Tolerance(math.inf, math.inf))
    (rate,), residual, _, _ = np.linalg.lstsq((hours / sigma)[:, None], values / sigma, rcond=None)
    # a constant fitted with hardly any freedom: the fit through the first occupation of the day
    weight = 1 / np.append(sigma, 1e-9)
    fit, covariance = np.polyfit(np.append(hours, 0.0), np.append(values, 0.0), 1, w=weight, cov="unscaled")
    assert trend.size[0] == pytest.approx(rate, rel=1e-9) and trend.size[0] == pytest.approx(fit[0], rel=1e-6)
    assert trend.sigma[0] == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-6)
    assert trend.chi_square == pytest.approx(3 * float(residual[0]), rel=1e-9)
    assert significance_of(trend.size, trend.sigma) == pytest.approx(
        chdtrc(3, 3 * (rate**2 / covariance[0, 0])), rel=1e-6
    )


def test_what_fits_by_its_looseness_alone_explains_nothing() -> None:
    """A slack of a metre takes up 0.2 m whatever is predicted, and a prediction may not make matters worse."""
    seen = evidence([[0.2, 0.0, 0.0]])
    for shape in ([0.0, 0.0, 0.0], [0.9, 0.0, 0.0], [0.2, 0.0, 0.0]):
        assert not explain(seen, [Hypothesis(Kind.DATUM, "d", np.array([shape]), slack=1.0)], TOLERANCE)
    worse = Hypothesis(Kind.DATUM, "d", np.array([[-1.0, 0.0, 0.0]]), slack=2.45)
    assert not explain(evidence([[1.46, 0.0, 0.0]]), [worse], TOLERANCE)
