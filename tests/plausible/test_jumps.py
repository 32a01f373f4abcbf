"""Runs of readings that jump and come back, planted in the way of somebody who goes up and down a street."""

import numpy as np
import pytest

from pipeline.plausible import jumps, on_sphere

#: Degrees in a metre, at the equator.
_DEGREE = 1.0 / 111_195.0


def street(count: int = 60) -> np.ndarray:
    """(n, 2) metres: 15 m from point to point, now on this side, now on that."""
    number = np.arange(count)
    return np.column_stack([6.0 * (number % 2), 15.0 * number])


def found(
    plan: np.ndarray, marks: tuple[int, ...] = (), cut: int | None = None, late: tuple[int, ...] = ()
) -> list[tuple[list[int], float]]:
    """Return what is told of a way of which every 40 s one is a point, but two minutes later on before the ``late``."""
    group = (np.arange(len(plan)) >= (cut or 0)).astype(np.int64)
    let_be = np.isin(np.arange(len(plan)), marks)
    time = 1000 * (40 + 120 * np.isin(np.arange(len(plan)), late)).cumsum()
    told = jumps(on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE), time, group, let_be)
    return [(run.tolist(), metres) for run, metres in told]


@pytest.mark.parametrize("rows", [[20], [20, 21, 22], list(range(20, 29))])
@pytest.mark.parametrize("axis", [0, 1])
def test_rows_with_a_digit_mistyped_are_told(rows: list[int], axis: int) -> None:
    plan = street()
    plan[rows, axis] += 1_112.0 * (-1) ** axis
    ((run, metres),) = found(plan)
    assert run == rows and metres == pytest.approx(1_112.0, abs=20.0)


def test_who_had_the_time_to_drive_there_and_back_went() -> None:
    """To 1,112 m away in two minutes, at 9 m/s; one whose way back took none did not."""
    plan = street()
    plan[20:29, 0] += 1_112.0
    assert found(plan, late=(20, 29)) == []
    ((run, _),) = found(plan, late=(20,))
    assert run == list(range(20, 29)) and len(found(plan, late=(29, 40))) == 1


def test_honest_ways_are_quiet() -> None:
    plan = street()
    assert found(plan) == []
    moved = plan.copy()
    moved[30:, 0] += 900.0  # another street, and no way back
    assert found(moved) == []
    aside = plan.copy()
    aside[20:23] += [700.0, 500.0]  # a pumping station, across country
    assert found(aside) == []
    mark = plan.copy()
    mark[20, 0] += 900.0
    assert found(mark, marks=(20,)) == []
    assert found(mark, cut=20) == []  # the first row of another export
    long = plan.copy()
    long[15:35, 0] += 900.0
    assert found(long) == []
    scattered = np.random.default_rng(3).uniform(0.0, 3_000.0, (60, 2))
    assert found(scattered) == []
    assert found(plan[:10]) == []


@pytest.mark.parametrize("count", [30, 40])
def test_a_row_of_a_small_day_is_told_whatever_the_ways_to_marks(count: int) -> None:
    plan = street(count)
    plan[[0, 1, count // 2, count - 1]] = [[-600.0, 100.0], [800.0, -300.0], [-600.0, 100.0], [800.0, -300.0]]
    plan[8, 1] += 334.0
    ((run, metres),) = found(plan, marks=(0, 1, count // 2, count - 1))
    assert run == [8] and metres == pytest.approx(334.0, abs=20.0)


def test_readings_on_marks_alone_are_quiet() -> None:
    plan = np.random.default_rng(3).uniform(0.0, 3_000.0, (60, 2))
    assert found(plan, marks=tuple(range(60))) == []


@pytest.mark.parametrize("count", [8, 12, 19])
@pytest.mark.parametrize("rows", [[3], [4, 5]])
def test_a_far_row_of_a_day_of_few_is_told(count: int, rows: list[int]) -> None:
    plan = street(count)
    plan[rows, 1] += 1_112.0
    ((run, metres),) = found(plan)
    assert run == rows and metres == pytest.approx(1_112.0, abs=20.0)


def test_honest_days_of_few_are_quiet() -> None:
    random = np.random.default_rng(8)
    for _ in range(50):
        assert found(random.uniform(0.0, 3_000.0, (12, 2))) == []  # here and there
    near = street(12)
    near[5, 0] += 400.0  # the gauge beside the site
    assert found(near) == []
    sites = np.repeat([[0.0, 0.0], [2_000.0, 0.0], [0.0, 0.0]], 5, axis=0) + street(15)
    assert found(sites[[0, 1, 5, 6, 10, 11, 2, 7, 12]]) == []  # two sites, by turns
    assert found(street(7) + np.where(np.arange(7)[:, None] == 3, 1_112.0, 0.0)) == []  # too few to have a usual way


def test_a_building_of_three_is_no_digit() -> None:
    """Few points, a third of them at another building due north, and back: that is where somebody went."""
    corners = np.array([[0.0, 0.0], [12.0, 0.0], [12.0, 9.0], [0.0, 9.0], [6.0, 4.0]])
    plan = np.concatenate([corners + np.array(by) for by in ((0.0, 0.0), (30.0, 640.0), (40.0, -20.0))])
    assert found(plan) == []
