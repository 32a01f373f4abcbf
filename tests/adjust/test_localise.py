"""A site's own system from common marks: against closed forms, and least squares written another way."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import chdtri, fdtri, ndtri, stdtrit

from pipeline.adjust.localise import fit_height, fit_plan, width_of

#: A grid's numbers of the size that they have, marks within a kilometre, and a site turned by 0.3 rad, 200 ppm larger.
GRID = np.add([1_500_000.0, 5_200_000.0], [[0, 0], [820, 130], [410, 690], [-350, 480], [240, -520]])
TURN, SCALE = 0.3, 1.0002
MATRIX = SCALE * np.array([[np.cos(TURN), -np.sin(TURN)], [np.sin(TURN), np.cos(TURN)]])
SITE = (GRID - GRID[0]) @ MATRIX.T + [1_000.0, 5_000.0]
ERRORS = np.random.default_rng(7).normal(0, 0.006, (5, 3))


def design(grid: np.ndarray, about: np.ndarray) -> np.ndarray:
    """(2n, 4) of a, b and the two shifts, x and y of each mark in turn."""
    e, n = (grid - about).T
    one, none = np.ones_like(e), np.zeros_like(e)
    return np.stack([np.column_stack([e, -n, one, none]), np.column_stack([n, e, none, one])], axis=1).reshape(-1, 4)


@pytest.mark.parametrize("marks", [2, 3, 5])
def test_what_was_put_in_comes_out(marks: int) -> None:
    fit = fit_plan(GRID[:marks], SITE[:marks], hold_scale=False)
    assert_allclose([fit.scale, fit.turn], [SCALE, TURN], rtol=0, atol=1e-11)
    assert_allclose(fit.forward(GRID), SITE, rtol=0, atol=1e-8)
    assert_allclose(GRID @ fit.matrix.T + fit.offset, SITE, rtol=0, atol=1e-7)
    assert fit.over == 2 * marks - 4 and (fit.sigma is None) == (marks == 2)


def test_similarity_is_the_least_squares_of_its_linear_form() -> None:
    """numpy's lstsq of x = a e - b n + X, y = b e + a n + Y; the covariance by J Q J' and Fisher's F of scipy."""
    site = SITE + ERRORS[:, :2]
    fit = fit_plan(GRID, site, hold_scale=False)
    rows = design(GRID, GRID.mean(axis=0))
    (a, b, x, y), squares, _, _ = np.linalg.lstsq(rows, site.reshape(-1), rcond=None)
    assert_allclose(fit.matrix[0], [a, -b], rtol=0, atol=1e-12)
    assert_allclose(fit.site, [x, y], rtol=0, atol=1e-8)
    assert_allclose(fit.residuals.reshape(-1), rows @ [a, b, x, y] - site.reshape(-1), rtol=0, atol=1e-8)
    assert fit.sigma is not None
    assert_allclose(fit.sigma**2, squares / 6, rtol=1e-6)
    places = np.add(GRID[1:4], [900.0, -300.0])
    jacobian = design(places, GRID.mean(axis=0)).reshape(-1, 2, 4)
    wider = fdtri(2, 6, 0.95) / (chdtri(2, 0.05) / 2)
    by_rule = jacobian @ np.linalg.inv(rows.T @ rows) @ jacobian.transpose(0, 2, 1) * fit.sigma**2 * wider
    assert_allclose(fit.covariance(fit.forward(places)), by_rule, rtol=1e-6, atol=1e-16)


def test_rigid_is_least_squares_over_turns() -> None:
    """scipy's search over the turn alone; the covariance by numerical derivatives of two shifts and a turn."""
    site = (GRID - GRID[0]) @ (MATRIX / SCALE).T + ERRORS[:, :2]
    fit = fit_plan(GRID, site, hold_scale=True)
    e, s = GRID - GRID.mean(axis=0), site - site.mean(axis=0)

    def turned(angle: float, places: np.ndarray) -> np.ndarray:
        return places @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])

    from scipy.optimize import minimize_scalar  # half a second, which every process that collects tests would wait for

    found = minimize_scalar(lambda angle: np.sum((turned(angle, e) - s) ** 2), bracket=(0.2, 0.4), tol=1e-12)
    assert_allclose(fit.turn, found.x, rtol=0, atol=1e-7)
    assert fit.scale == 1.0 and fit.over == 7 and fit.sigma is not None
    assert_allclose(fit.sigma**2, found.fun / 7, rtol=1e-6)
    places = np.add(GRID[1:3], [500.0, 0.0])
    step = 1e-6

    def jacobian(of: np.ndarray) -> np.ndarray:
        by_turn = (turned(fit.turn + step, of) - turned(fit.turn - step, of)) / (2 * step)
        return np.stack([np.tile([1.0, 0.0], (len(of), 1)), np.tile([0.0, 1.0], (len(of), 1)), by_turn], axis=2)

    rows = jacobian(e).reshape(-1, 3)
    at = jacobian(places - GRID.mean(axis=0))
    wider = fdtri(2, 7, 0.95) / (chdtri(2, 0.05) / 2)
    by_rule = at @ np.linalg.inv(rows.T @ rows) @ at.transpose(0, 2, 1) * fit.sigma**2 * wider
    back = np.array([[np.cos(fit.turn), np.sin(fit.turn)], [-np.sin(fit.turn), np.cos(fit.turn)]])
    along_grid = back @ by_rule @ back.T
    assert_allclose(fit.covariance(fit.forward(places)), along_grid, rtol=1e-5, atol=1e-12)


@pytest.mark.parametrize("tilt", [False, True])
def test_heights_are_the_least_squares_of_a_plane(tilt: bool) -> None:
    """numpy's lstsq with the plane about another origin; Student's t of scipy."""
    datum = np.array([310.0, 322.0, 305.0, 318.0, 330.0])
    plane = -200.0 + (GRID - GRID[0]) @ ([20e-6, -10e-6] if tilt else [0.0, 0.0])
    site = datum + plane + ERRORS[:, 2]
    fit = fit_height(GRID, datum, site, tilt=tilt)
    rows = np.column_stack([np.ones(5), GRID - GRID[0]])[:, : 3 if tilt else 1]
    found, squares, _, _ = np.linalg.lstsq(rows, site - datum, rcond=None)
    places = np.add(GRID[:2], [300.0, 800.0])
    at = np.column_stack([np.ones(2), places - GRID[0]])[:, : 3 if tilt else 1]
    over = 2 if tilt else 4
    assert fit.over == over and fit.sigma is not None
    assert_allclose(fit.added(places), at @ found, rtol=0, atol=1e-9)
    assert_allclose(fit.residuals, datum + rows @ found - site, rtol=0, atol=1e-9)
    assert_allclose(fit.sigma**2, squares / over, rtol=1e-6)
    wider = (stdtrit(over, 0.975) / ndtri(0.975)) ** 2
    variance = np.einsum("ki,ij,kj->k", at, np.linalg.inv(rows.T @ rows), at) * fit.sigma**2 * wider
    assert_allclose(fit.variance(places), variance, rtol=1e-6)


def test_without_marks_over_nothing_is_claimed() -> None:
    two = fit_plan(GRID[:2], SITE[:2] + ERRORS[:2, :2], hold_scale=False)
    assert not two.covariance(SITE).any() and two.sigma is None
    three = fit_height(GRID[:3], np.zeros(3), ERRORS[:3, 2], tilt=True)
    assert not three.variance(GRID).any() and three.sigma is None
    assert_allclose(three.residuals, 0, rtol=0, atol=1e-12)


def test_what_marks_do_not_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="two marks"):
        fit_plan(GRID[:1], SITE[:1], hold_scale=True)
    with pytest.raises(ValueError, match="one place"):
        fit_plan(GRID[[0, 0]], SITE[[0, 0]], hold_scale=False)
    line = GRID[0] + np.outer([0.0, 1.0, 2.0], [300.0, 200.0])
    with pytest.raises(ValueError, match="line"):
        fit_height(line, np.zeros(3), np.zeros(3), tilt=True)
    with pytest.raises(ValueError, match="fewer"):
        fit_height(GRID[:2], np.zeros(2), np.zeros(2), tilt=True)


def test_how_long_and_how_wide_places_lie() -> None:
    """A rectangle of 400 by 30 m, turned."""
    corners = np.array([[0, 0], [400, 0], [400, 30], [0, 30.0]]) @ (MATRIX / SCALE).T
    assert_allclose(width_of(corners), [400, 30], rtol=0, atol=1e-9)
    assert_allclose(width_of(corners[:2]), [400, 0], rtol=0, atol=1e-9)
