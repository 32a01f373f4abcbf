"""Variance components: closed forms where there are any, published chi-square values, and simulated noise."""

import itertools

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import minimize_scalar

from pipeline.adjust.components import Model, chance_of_ratio, components, least, varying
from pipeline.arrays import Floats


def test_one_group_of_equal_variance_is_the_root_of_the_mean_square() -> None:
    off = np.array([3.0, -4.0, 0.0, 5.0, 1.0, -2.0, 2.0, 4.0, -3.0, 6.0]) * 1e-3
    found = components([varying(Model(off, np.zeros((10, 10)), np.array([0.002**2 * np.eye(10)])))])
    assert_allclose(found.scale, np.sqrt(np.mean(off**2)) / 0.002, rtol=1e-6)
    assert_allclose(found.freedom, 10.0, rtol=1e-6)
    # chi-square of 10 degrees of freedom: 3.247 at 0.025 and 20.483 at 0.975, in any table
    assert_allclose(np.ravel(found.bounds()), found.scale[0] * np.sqrt(10 / np.array([20.483, 3.247])), rtol=1e-4)
    assert least(2.0, 10.0, 0.025) == pytest.approx(2.0 * np.sqrt(10 / 20.483), rel=1e-4)


def test_what_is_taken_as_stated_is_taken_off() -> None:
    """n differences of variance t s2 + b: the mean square estimates that sum, so t = (mean square - b) / s2."""
    off = np.array([4.0, -5.0, 6.0, -3.0, 5.0, 7.0])
    found = components([varying(Model(off, 9.0 * np.eye(6), np.array([4.0 * np.eye(6)])))])
    assert_allclose(found.scale**2, (np.mean(off**2) - 9.0) / 4.0, rtol=1e-5)


def test_an_error_in_common_counts_once() -> None:
    """n differences with one error in common: their mean says nothing more than one difference does, for n - 1 it is
    their spread that counts. With V = t (I + J), y' V^-1 y / n is the estimate."""
    off, one = np.array([5.0, 6.0, 4.0, 7.0]), np.ones((4, 4))
    found = components([varying(Model(off, np.zeros((4, 4)), np.array([np.eye(4) + one])))])
    assert_allclose(found.scale**2, off @ np.linalg.inv(np.eye(4) + one) @ off / 4, rtol=1e-6)


def test_differences_that_cannot_but_be_zero_say_nothing() -> None:
    share = np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 0.0]])
    found = components([varying(Model(np.array([2.0, -2.0, 0.0]), np.zeros((3, 3)), np.array([share @ share.T])))])
    assert_allclose(found.freedom, 2.0, rtol=1e-6)
    nothing = components([varying(Model(np.zeros(2), np.zeros((2, 2)), np.zeros((1, 2, 2))))])
    assert np.isnan(nothing.scale[0]) and nothing.freedom[0] == 0.0


@pytest.mark.parametrize("worse", [1.0, 30.0, 300.0, 1e4])
def test_however_much_too_good_the_root_of_the_mean_square_is_found(worse: float) -> None:
    """The same closed form as above; a thousand times too good, say, as of two writings of one reading."""
    off = np.array([3.0, -4.0, 0.0, 5.0, 1.0, -2.0]) * worse
    found = components([varying(Model(off, np.zeros((6, 6)), np.array([np.eye(6)])))])
    assert_allclose(found.scale, np.sqrt(np.mean(off**2)), rtol=1e-5)
    assert_allclose(found.freedom, 6.0, rtol=1e-5)


def test_two_receivers_are_told_apart_and_the_interval_holds() -> None:
    """200 sets of 40 differences between a receiver as good as stated and one three times worse, by simulation."""
    random, held, scales = np.random.default_rng(7), 0, []
    first, second = np.arange(40) < 20, np.arange(40) >= 20
    parts = np.array([np.diag(first * 1.0), np.diag(second * 1.0)])
    for _ in range(200):
        off = random.normal(size=40) * np.sqrt(first + 9.0 * second + 0.5)
        found = components([varying(Model(off, 0.5 * np.eye(40), parts))])
        scales.append(found.scale)
        low, high = found.bounds()
        held += int(low[1] <= 3.0 <= high[1])
    assert_allclose(np.median(scales, axis=0), [1.0, 3.0], rtol=0.06)
    assert 0.90 <= held / 200 <= 0.99


@pytest.mark.parametrize(("count", "ratio", "chance"), [(10, 4.965, 0.05), (5, 16.258, 0.01), (1, 161.448, 0.05)])
def test_chances_of_a_ratio_are_those_of_tables_of_f(count: int, ratio: float, chance: float) -> None:
    """Critical values of F of one and so many degrees of freedom: NIST/SEMATECH e-Handbook, section 1.3.6.7.3."""
    assert chance_of_ratio(np.array([ratio]), count) == pytest.approx(chance, rel=1e-3)


def occupied(marks: list[int], off: Floats, own: Floats, centring: float, common: float, register: float) -> Model:
    """Occupations of marks: the readings' variances are asked for, a shift and the register are as stated."""
    alike = np.equal.outer(marks, marks)
    fixed = common**2 + np.eye(len(marks)) * centring**2 + alike * register**2
    return Model(off, fixed, np.diag(own**2)[None])


def largest(models: list[Model]) -> float:
    """The scale of largest likelihood, by minimising its negative logarithm from several starts."""

    def unlikely(logarithm: float) -> float:
        total = 0.0
        for model in models:
            variance = model.fixed + np.exp(logarithm) * model.parts[0]
            total += np.linalg.slogdet(variance)[1] + model.differences @ np.linalg.solve(variance, model.differences)
        return float(total)

    spans = itertools.pairwise(np.linspace(-14.0, 6.0, 11))
    found = [minimize_scalar(unlikely, bounds=span, method="bounded", options={"xatol": 1e-9}) for span in spans]
    return float(np.exp(min(found, key=lambda one: one.fun).x / 2.0))


@pytest.mark.parametrize("seed", range(40))
def test_of_few_occupations_too_the_largest_likelihood_is_found(seed: int) -> None:
    """With readings as good as the marks, whole steps of scoring swing between two values and settle on neither."""
    random = np.random.default_rng(seed)
    count = int(random.integers(4, 9))
    marks, models = random.integers(0, 3, count).tolist(), []
    for own, centring, common in ((0.0028, 0.003, 0.008), (0.0028, 0.003, 0.008), (0.005, 0.0, 0.015)):
        off = random.normal(0.0, 0.2 * common) + random.normal(0.0, 0.002, 3)[marks] + random.normal(0.0, own, count)
        models.append(occupied(marks, off, np.full(count, own), centring, common, 0.005))
    found = components(models)
    assert_allclose(found.scale, largest(models), rtol=0, atol=0.004)
    assert 0.0 <= found.freedom[0] <= 3 * count


def test_four_occupations_that_agree_better_than_stated_are_not_told_as_worse() -> None:
    """Chi-square of the twelve differences is 2.4; the scale of the readings' uncertainties 0.95."""
    off = np.array([[1.0, -3.8, 0.5], [-1.0, -0.7, -3.7], [0.9, -0.7, -0.1], [4.2, 0.1, 7.9]]) / 1000
    stated = ((0.004 / 2**0.5, 0.003, 0.008), (0.004 / 2**0.5, 0.003, 0.008), (0.005, 0.0, 0.015))
    models = [
        occupied([0, 1, 2, 1], off[:, axis], np.full(4, own), centring, common, 0.005)
        for axis, (own, centring, common) in enumerate(stated)
    ]
    found = components(models)
    assert_allclose(found.scale, largest(models), rtol=1e-3)
    assert found.freedom[0] < 6.0
