"""Runs that step up or down and back, planted on level ground in the way of somebody who walks over it."""

import numpy as np
import pytest

from pipeline.plausible import on_sphere, stepped_runs

#: Degrees in a metre, at the equator.
_DEGREE = 1.0 / 111_195.0


def polder(seed: int = 1, scatter: float = 0.05, count: int = 60) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) metres, 12 m from point to point, and (n,) heights that scatter."""
    plan = np.column_stack([5.0 * (np.arange(count) % 2), 12.0 * np.arange(count)])
    return plan, -1.2 + np.random.default_rng(seed).normal(0.0, scatter, count)


def found(
    plan: np.ndarray, height: np.ndarray, marks: tuple[int, ...] = (), cut: int | None = None, low: bool = False
) -> list[tuple[list[int], float, float]]:
    places, number = on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE), np.arange(len(plan))
    group = (number >= (cut or 0)).astype(np.int64)
    return [
        (run.rows.tolist(), run.up, run.miss)
        for run in stepped_runs(places, height, group, np.isin(number, marks), low)
        if low or not run.known
    ]


@pytest.mark.parametrize("by", [1.5, -4.8, 31.0])
@pytest.mark.parametrize("run", [range(20, 45), range(3, 6), range(10, 57)])
def test_a_run_is_found_by_what_it_steps(by: float, run: range) -> None:
    plan, height = polder()
    height[run] += by
    ((rows, up, miss),) = found(plan, height)
    assert rows == list(run) and abs(up - by) <= miss <= 0.2


def test_most_steps_miss_by_no_more_than_stated() -> None:
    """The mean of two rises of normal scatter s misses by a standard deviation of s; 1.9 of these hold 94 %."""
    misses = []
    for seed in range(200):
        plan, height = polder(seed, 0.1)
        height[20:40] += 3.0
        misses += [abs(up - 3.0) <= miss for _, up, miss in found(plan, height)]
    assert len(misses) > 190 and np.mean(misses) == pytest.approx(0.94, abs=0.04)


def test_one_between_every_two_marks_is_found() -> None:
    plan, height = polder()
    height[5:12] += 2.0
    height[30:40] += 2.0
    assert [rows for rows, *_ in found(plan, height, marks=(20,))] == [list(range(5, 12)), list(range(30, 40))]
    assert found(plan, height) == []  # twice without a mark: how the ground is


@pytest.mark.parametrize("run", [range(11, 25), range(15, 30), range(11, 30)])
def test_a_run_that_begins_behind_a_mark_or_ends_before_one_is_found(run: range) -> None:
    """Switched on as soon as the mark is occupied, or off just before: the mark tells the step, being on the ground."""
    plan, height = polder()
    height[run] += 2.5
    ((rows, up, miss),) = found(plan, height, marks=(10, 30))
    assert rows == list(run) and abs(up - 2.5) <= miss <= 0.2
    assert found(plan, height, marks=(10, 30), cut=11) == found(plan, height, marks=(9, 10, 30, 31), cut=11)


def test_a_pillar_is_no_step() -> None:
    """One end on a mark that stands higher, and nothing at the other."""
    plan, height = polder()
    height[[10, 30]] += [1.4, 0.0]
    assert found(plan, height, marks=(10, 30)) == []


def test_steps_higher_than_hills_are_found() -> None:
    """Smooth hills, 4 m high on 60 m and so up to 2.5 m from point to point, and 8 m for some points in a row."""
    seen, plan = 0, polder()[0]
    along = plan[:, 1]
    covariance = 16.0 * np.exp(-((np.subtract.outer(along, along) / 60.0) ** 2)) + 1e-4 * np.eye(len(along))
    for seed in range(40):
        hills = np.random.default_rng(seed).multivariate_normal(np.zeros(len(along)), covariance)
        assert found(plan, hills) == []
        hills[20:40] += 8.0
        seen += [rows for rows, *_ in found(plan, hills)] == [list(range(20, 40))]
    assert seen >= 20


@pytest.mark.parametrize("run", [range(20, 45), range(3, 6)])
def test_lower_steps_are_found_where_they_are_asked_for(run: range) -> None:
    plan, height = polder(scatter=0.02)
    height[run] += 0.5
    assert found(plan, height) == []
    ((rows, up, miss),) = found(plan, height, low=True)
    assert rows == list(run) and abs(up - 0.5) <= miss <= 0.2


def test_so_are_both_sides_of_a_single_step() -> None:
    plan, height = polder(scatter=0.02)
    height[40:] += 0.5
    (before, up, _), (behind, again, _) = found(plan, height, low=True)
    assert (before, behind) == (list(range(40)), list(range(40, 60)))
    assert up == -again and again == pytest.approx(0.5, abs=0.1)
    assert found(plan, height - 0.3 * (np.arange(60) >= 40), low=True) == []  # no more than a kerb


def test_steps_within_the_sections_of_a_road_on_a_slope_are_found() -> None:
    """Five points to a section, 35 m apart on a slope of six in a hundred."""
    section, place = np.divmod(np.arange(60), 5)
    plan = np.column_stack([4.0 * np.where(section % 2, 4 - place, place), 35.0 * section])
    height = 0.06 * plan[:, 1] + np.random.default_rng(2).normal(0.0, 0.02, 60)
    height[22:43] += 0.8
    assert found(plan, height) == []
    ((rows, up, miss),) = found(plan, height, low=True)
    assert rows == list(range(22, 43)) and abs(up - 0.8) <= miss <= 0.2


def test_ground_as_it_is_has_none() -> None:
    plan, height = polder()
    assert found(plan, height) == [] and found(plan, 0.0 * height) == []
    terrace, bank, pit = height.copy(), height.copy(), height.copy()
    terrace[30:] += 4.0  # up, and not down again
    bank[20:30] += np.minimum(np.arange(10), np.arange(10)[::-1])  # step by step
    pit[20:30] -= 0.8  # a kerb, a ditch
    away, quay = plan.copy(), height.copy()
    away[20:30, 0] += 200.0  # somebody went there
    quay[20:30] += 4.0
    assert [found(plan, one) for one in (terrace, bank, pit)] == [[], [], []] and found(away, quay) == []
    assert found(plan, quay, marks=(25,)) == [] and found(plan, quay, cut=25) == []
    hills = 3.0 * np.sin(np.arange(60.0)) + quay
    assert found(plan, hills) == [] and found(plan[:7], quay[:7]) == [] and found(plan[:0], quay[:0]) == []
