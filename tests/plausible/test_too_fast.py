"""Readings aside that nobody reached in the time between them, in simulated work on foot."""

import numpy as np
import pytest

from pipeline.plausible import on_sphere, too_fast

#: Degrees in a metre, at the equator.
_DEGREE = 1.0 / 111_195.0


def walk(seed: int = 1, count: int = 80) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) metres and (n,) seconds of somebody who walks at 1.2 m/s, stops at each point, and turns now and then."""
    rng = np.random.default_rng(seed)
    far, turn = rng.uniform(4.0, 16.0, count), np.cumsum(rng.normal(0.0, 0.4, count))
    plan = np.cumsum(far[:, None] * np.column_stack([np.sin(turn), np.cos(turn)]), axis=0)
    return plan, np.cumsum(np.round(far / 1.2 + rng.uniform(3.0, 8.0, count)))


def found(
    plan: np.ndarray, seconds: np.ndarray, marks: tuple[int, ...] = (), cut: int | None = None
) -> list[tuple[list[int], float, float]]:
    places, number = on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE), np.arange(len(plan))
    time = (1_800_000_000_000 + 1000 * seconds).astype(np.int64)
    told = too_fast(places, time, (number >= (cut or 0)).astype(np.int64), np.isin(number, marks))
    return [(run.tolist(), metres, gone) for run, metres, gone in told]


@pytest.mark.parametrize("rows", [[40], [40, 41, 42]])
@pytest.mark.parametrize("aside", [(900.0, 0.0), (-500.0, 700.0)])
def test_readings_that_nobody_reached_are_told(rows: list[int], aside: tuple[float, float]) -> None:
    plan, seconds = walk()
    plan[rows] += aside
    ((run, metres, gone),) = found(plan, seconds)
    assert run == rows and metres == pytest.approx(np.hypot(*aside), abs=20.0) and gone < 25.0


def test_honest_work_is_quiet() -> None:
    for seed in range(50):
        plan, seconds = walk(seed)
        assert found(plan, seconds) == []
        aside, later = plan.copy(), seconds.copy()
        aside[40] += (400.0, 0.0)  # there and back, by car
        later[40:] += 60.0
        later[41:] += 60.0
        assert found(aside, later) == []
        moved = plan.copy()
        moved[40:] += (900.0, 0.0)  # another clock, or another rover: no way back
        assert found(moved, seconds) == []
        two = plan.copy()
        two[10:70:8] += (900.0, 0.0)  # two rovers in one file
        assert found(two, seconds) == []
        aside[40] += (600.0, 0.0)
        assert found(aside, seconds, marks=(40,)) == [] and found(aside, seconds, cut=40) == []
        assert found(aside, 60.0 * np.floor(seconds / 60.0)) == []  # whole minutes tell nothing of a minute
        assert found(aside, 0.0 * seconds) == [] and found(aside, seconds / 20.0) == []  # no times of observation
        assert found(aside[30:48], seconds[30:48]) == [] and found(aside[:0], seconds[:0]) == []
