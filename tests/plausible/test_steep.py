"""Readings that stand off others hard by; expectations by hand."""

import numpy as np
import pytest

from pipeline.plausible import on_sphere, steep

#: Degrees in a metre, at the equator.
_DEGREE = 1.0 / 111_195.0
Floats = np.ndarray


def at(east: Floats, north: Floats) -> Floats:
    return on_sphere(7.0 + np.asarray(east) * _DEGREE, np.asarray(north) * _DEGREE)


def square(count: int, seed: int = 1) -> Floats:
    return np.random.default_rng(seed).uniform(0.0, 300.0, (count, 2))


@pytest.mark.parametrize("ground", [150.0, 300.0])
def test_an_export_in_feet_among_others_in_metres(ground: float) -> None:
    plan = square(60)
    height = ground + 0.02 * plan[:, 0]
    height[50:] *= 3.28084
    found = steep(at(*plan.T), height)
    assert found is not None and found.feet and not found.possible and set(found.rows) <= set(range(50, 60))
    assert found.by == pytest.approx(2.28 * ground, rel=0.1) and found.away < 60.0


def test_the_same_on_low_ground_is_no_hill_where_it_lies_among_the_others() -> None:
    plan = square(60)
    height = np.where(np.arange(60) < 50, 30.0, 30.0 * 3.28084)
    found = steep(at(*plan.T), height)
    assert found is not None and found.feet and not found.possible


def test_it_may_be_a_hill_beside_them() -> None:
    plan = square(300)
    height = np.where(plan[:, 0] < 240.0, 30.0, 30.0 * 3.28084)
    found = steep(at(*plan.T), height)
    assert found is not None and found.feet and found.possible


def test_heights_of_hundreds_of_metres_less_are_no_feet() -> None:
    plan = square(60)
    found = steep(at(*plan.T), np.where(np.arange(60) < 55, 1000.0, 600.0))
    assert found is not None and not found.feet and found.by == -400.0 and set(found.rows) <= set(range(55, 60))


@pytest.mark.parametrize("high", [100.0, 145.0])
def test_a_cliff_or_dam_is_ground(high: float) -> None:
    plan = square(400)
    assert steep(at(*plan.T), np.where(plan[:, 0] > 150.0, high + 320.0, 320.0)) is None


def test_ground_that_rises_everywhere_is_ground() -> None:
    plan = square(400) * 5.0
    assert steep(at(*plan.T), 1.2 * plan[:, 0]) is None


def test_masts_and_sites_far_apart_are_quiet() -> None:
    plan = square(60)
    mast = np.full(60, 320.0)
    mast[[7, 8]] += 240.0
    plan[8] = plan[7]
    assert steep(at(*plan.T), mast) is None
    apart = np.vstack([square(30), square(30, 2) + np.array([4_000.0, 0.0])])
    assert steep(at(*apart.T), np.repeat([300.0, 1400.0], 30)) is None
    assert steep(np.zeros((0, 3)), np.zeros(0)) is None
