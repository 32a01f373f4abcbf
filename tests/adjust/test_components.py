"""Variance components: closed forms where there are any, published chi-square values, and simulated noise."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from pipeline.adjust.components import Model, chance_of_ratio, components, least, varying


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
