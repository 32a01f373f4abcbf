"""Points that lie off all marks: planted on gentle ground, beside honest sites that look alike."""

import numpy as np
import pytest

from pipeline.plausible import MarksApart, marks_apart, on_sphere

#: Degrees in a metre, at the equator; metres in a foot.
_DEGREE, _FOOT = 1.0 / 111_195.0, 0.3048
Floats = np.ndarray


def site(count: int = 40, seed: int = 1) -> tuple[Floats, Floats, np.ndarray]:
    """(n, 2) metres, (n,) heights of ground that falls by one in a hundred, and which are on the three marks."""
    rng = np.random.default_rng(seed)
    marks = np.array([[-300.0, 100.0], [900.0, -200.0], [150.0, 160.0], [150.0, 160.2]])
    plan = np.vstack([marks, rng.uniform(0.0, 300.0, (count, 2))])
    return plan, 303.0 + 0.01 * plan[:, 0] + rng.normal(0.0, 0.1, len(plan)), np.arange(len(plan)) < len(marks)


def found(plan: Floats, height: Floats, marks: np.ndarray) -> MarksApart | None:
    return marks_apart(on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE), height, marks)


@pytest.mark.parametrize("count", [12, 40, 8_000])
@pytest.mark.parametrize("factor", [_FOOT, 1.0 / _FOOT])
def test_points_in_the_other_unit_are_told(factor: float, count: int) -> None:
    plan, height, marks = site(count)
    told = found(plan, np.where(marks, height, height * factor), marks)
    assert told is not None and told.feet and (told.marks, told.spots, told.others) == (4, 3, count)
    assert told.by == pytest.approx(303.0 * (1.0 - factor), abs=6.0)


@pytest.mark.parametrize("by", [10.6, 39.2, 50.7, -25.0])
def test_points_in_another_height_system_are_told_to_within_the_error(by: float) -> None:
    plan, height, marks = site()
    told = found(plan, height + by * marks, marks)
    assert told is not None and not told.feet
    assert abs(told.by - by) <= 3.0 * told.error


def test_one_mark_counts_once() -> None:
    plan, height, _ = site()
    marks = np.isin(np.arange(len(plan)), [2, 3])
    told = found(plan[2:], (height + 50.0 * marks)[2:], marks[2:])
    assert told is not None and told.spots == 1 and told.marks == 2


def test_honest_ground_is_quiet() -> None:
    plan, height, marks = site()
    for rise in (0.0, 0.05, 0.3):  # a plain, a hillside and a mountain side, by which the marks lie higher and lower
        assert found(plan, height + rise * plan[:, 0], marks) is None
    assert found(plan, np.full(len(plan), 12.0), marks) is None
    assert found(plan, height + 3.0 * marks, marks) is None
    assert found(plan, height, np.zeros(len(plan), bool)) is None
    assert found(plan, height, np.ones(len(plan), bool)) is None
    assert found(plan[:8], height[:8] + 50.0 * marks[:8], marks[:8]) is None  # four points say little of ground
    one = marks & (plan[:, 0] > 800.0)
    assert found(plan, height + 40.0 * one, marks) is None  # one mark on a hill, the others in the valley


def test_marks_on_a_mountain_do_not_fit_in_feet_by_its_height() -> None:
    plan, height, marks = site()
    told = found(plan, height + 500.0 * marks, marks)
    assert told is not None and not told.feet
