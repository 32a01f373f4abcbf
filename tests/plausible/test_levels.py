"""Readings on two levels, mixed or beside each other; expectations by hand."""

import numpy as np
import pytest

from pipeline.plausible import levels, on_sphere

#: Degrees in a metre, at the equator.
_DEGREE = 1.0 / 111_195.0
Floats = np.ndarray


def at(plan: Floats) -> Floats:
    return on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE)


def square(count: int, side: float = 600.0, seed: int = 1) -> Floats:
    return np.random.default_rng(seed).uniform(0.0, side, (count, 2))


@pytest.mark.parametrize("off", [46.7, -46.7, 25.0])
@pytest.mark.parametrize("some", [5, 20])
def test_readings_off_those_among_which_they_lie(off: float, some: int) -> None:
    plan = square(80)
    height = 300.0 + 0.01 * plan[:, 1] + np.where(np.arange(80) < some, off, 0.0)
    found = levels(at(plan), height)
    assert found is not None and found.mixed and found.rows.tolist() == list(range(some))
    assert found.by == pytest.approx(off, abs=3.0) and found.others == 80 - some


def test_a_terrace_beside_the_others_is_not_mixed() -> None:
    plan = square(80)
    found = levels(at(plan), np.where(plan[:, 0] > 450.0, 346.7, 300.0))
    assert found is not None and not found.mixed


def test_marks_on_the_rim_of_a_pit_are_not_mixed() -> None:
    turn = np.arange(6) * np.pi / 3.0
    rim = 300.0 + 450.0 * np.column_stack([np.sin(turn), np.cos(turn)])
    plan = np.vstack([square(80), rim])
    found = levels(at(plan), np.where(np.arange(86) < 80, 300.0, 346.7))
    assert found is not None and found.rows.tolist() == list(range(80, 86)) and not found.mixed


def test_slopes_single_masts_and_level_ground_are_not_mixed() -> None:
    plan = square(80)
    slope = levels(at(plan), 300.0 + 0.5 * plan[:, 0])
    assert slope is None or not slope.mixed
    assert levels(at(plan), np.where(np.arange(80) < 2, 346.7, 300.0)) is None
    one_tower = plan.copy()
    one_tower[:6] = plan[0]
    assert levels(at(one_tower), np.where(np.arange(80) < 6, 346.7, 300.0)) is None
    assert levels(at(plan), np.full(80, 300.0)) is None
    assert levels(np.zeros((0, 3)), np.zeros(0)) is None


@pytest.mark.parametrize("off", [29.0, -29.0])
def test_the_step_to_what_lies_next_to_them(off: float) -> None:
    """A hillside of 1 in 40: to the nearest of 80 readings in a square of 600 m it rises by some metres at the most."""
    plan = square(80)
    lifted = np.arange(80) % 4 == 0
    found = levels(at(plan), 300.0 + 0.025 * plan[:, 1] + np.where(lifted, off, 0.0))
    assert found is not None and found.mixed and found.step is not None
    assert found.step.by == pytest.approx(off, abs=1.0) and found.step.rough < 3.0
    assert found.wide == pytest.approx(15.0, abs=1.0) and found.inner < 0.3 * found.wide


def test_heights_all_over_the_relief_differ_as_much_within_a_level() -> None:
    """Two even spreads of 25 m with 6 m between: the deviation of one from the middle of four next to it is 8 m."""
    random = np.random.default_rng(2)
    height = 300.0 + random.uniform(0.0, 25.0, 80) + np.where(random.random(80) < 0.4, 31.0, 0.0)
    found = levels(at(square(80)), height)
    assert found is not None and found.mixed and found.step is not None
    assert found.step.rough == pytest.approx(25.0 / np.sqrt(12.0) * np.sqrt(1.25), rel=0.4)
    assert found.wide > found.gap and found.step.by == pytest.approx(31.0, abs=3.0 * found.step.error)
