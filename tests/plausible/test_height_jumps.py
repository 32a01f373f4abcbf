"""Heights with one digit mistyped in some rows, planted in the way of somebody who walks over gentle ground."""

import numpy as np
import pytest

from pipeline.plausible import height_jumps, on_sphere

#: Degrees in a metre, at the equator; metres in a foot.
_DEGREE, _FOOT = 1.0 / 111_195.0, 0.3048


def walk(count: int = 100) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) metres, 15 m from point to point, and (n,) heights of ground that rises and falls gently."""
    number = np.arange(count)
    plan = np.column_stack([6.0 * (number % 2), 15.0 * number])
    return plan, 240.0 + 1.5 * np.sin(plan[:, 1] / 80.0) + np.random.default_rng(1).normal(0.0, 0.05, count)


def found(
    plan: np.ndarray, height: np.ndarray, unit: float = 1.0, marks: tuple[int, ...] = (), cut: int | None = None
) -> list[tuple[list[int], float]]:
    places = on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE)
    number = np.arange(len(plan))
    group = (number >= (cut or 0)).astype(np.int64)
    told = height_jumps(places, height, np.full(len(plan), unit), group, np.isin(number, marks))
    return [(run.tolist(), metres) for run, metres in told]


@pytest.mark.parametrize("rows", [[20, 21], [20, 21, 22, 23], list(range(20, 26))])
@pytest.mark.parametrize(("by", "unit"), [(20.0, 1.0), (-10.0, 1.0), (100.0, 1.0), (40.0 * _FOOT, _FOOT)])
def test_rows_with_a_digit_mistyped_are_told(rows: list[int], by: float, unit: float) -> None:
    plan, height = walk()
    height[rows] += by
    ((run, metres),) = found(plan, height, unit)
    assert run == rows and metres == pytest.approx(by, abs=0.5)  # as measured, the ground's own rise with it


def test_honest_heights_are_quiet() -> None:
    plan, ground = walk()
    assert found(plan, ground) == []
    for by in (7.3, 12.4, 16.8, 33.0):  # roofs and decks are as high as they are
        roof = ground.copy()
        roof[20:24] += by
        assert found(plan, roof) == []
    bench = ground.copy()
    bench[30:] += 20.0  # up, and not down again
    assert found(plan, bench) == []
    benches = ground.copy()
    for start in (10, 30, 50, 70):
        benches[start : start + 5] += 10.0  # again and again: that is the work
    assert found(plan, benches) == []
    tower, away = ground.copy(), plan.copy()
    tower[40:44] += 30.0
    away[40:44, 0] += 80.0  # somebody went there
    assert found(away, tower) == []
    mark = ground.copy()
    mark[20:22] += 20.0
    assert found(plan, mark, marks=(21,)) == []
    assert found(plan, mark, cut=20) == []  # the first rows of another export
    assert found(plan[:15], mark[:15]) == []
    feet = ground.copy()
    feet[20:24] += 20.0
    assert found(plan, feet, unit=_FOOT) == []  # 65.6 feet


def test_a_hill_is_quiet() -> None:
    plan, ground = walk()
    ground += 40.0 * np.exp(-np.square((plan[:, 1] - 400.0) / 60.0))
    assert found(plan, ground) == []


def test_steep_ground_hides_what_it_may_have_made() -> None:
    plan, _ = walk()
    height = np.random.default_rng(2).uniform(0.0, 60.0, len(plan))
    height[20:24] += 20.0
    assert found(plan, height) == []
