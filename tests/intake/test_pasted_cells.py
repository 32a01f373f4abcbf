"""Cells of one coordinate pasted over others are known by their order, at any places; honest exports have none such.

What is honest is simulated with the roughness of its kind (common practice, no source): ground that differs by
decimetres from point to point, readings that scatter by some millimetres, and numbers as exports round them.
"""

from collections.abc import Callable

import numpy as np
import pytest

from pipeline.arrays import Floats
from pipeline.intake.pasted_cells import pasted_series

Random = np.random.Generator
METRES = np.ones(3)


def ground(random: Random, count: int) -> Floats:
    """Points some ten metres apart on a hillside."""
    plan = np.cumsum(random.normal(0.0, 10.0, (count, 2)), axis=0)
    height = 100.0 + 5.0 * np.sin(plan[:, 0] / 60.0) + 4.0 * np.cos(plan[:, 1] / 90.0) + random.normal(0.0, 0.3, count)
    return np.column_stack([300_000.0 + plan[:, 0], 5_000_000.0 + plan[:, 1], height])


def water_and_tarmac(random: Random) -> Floats:
    found = ground(random, 600)
    found[200:350, 2] = 50.0 + random.normal(0.0, 0.004, 150)
    found[400:450, 2] = 51.0 + random.normal(0.0, 0.05, 50)
    return found


def two_rails(random: Random) -> Floats:
    along = np.arange(200) * 5.0
    lines = [[300_000.0 + along, 5_000_000.0 + 0.3 * along + side, 100.0 + 0.004 * along] for side in (0.0, 1.5, 4.5)]
    return np.vstack([np.column_stack(line) + random.normal(0.0, 0.002, (200, 3)) for line in lines])


def two_edges(random: Random) -> Floats:
    line = ground(random, 60)
    return np.vstack([line, line + np.array([5.0, 5.0, 0.0]) + random.normal(0.0, 0.01, (60, 3))])


def monitored(random: Random) -> Floats:
    points = ground(random, 30)
    return np.vstack([points + random.normal(0.0, 0.004, (30, 3)) for _ in range(15)])


def by_design(random: Random) -> Floats:
    """Two edges set out by one design, with its heights."""
    line = ground(random, 60)
    return np.vstack([line, line + np.array([8.0, 0.0, 0.0])])


def parallel(random: Random) -> Floats:
    """A short line that was computed beside another, with its heights."""
    points = ground(random, 300)
    return np.vstack([points, points[100:120] + np.array([8.0, 0.0, 0.0])])


def staked(random: Random) -> Floats:
    east, north = np.meshgrid(np.arange(15) * 5.0 + 300_000.123, np.arange(15) * 5.0 + 5_000_000.456)
    points = np.column_stack([east.ravel(), north.ravel(), 100.0 + random.normal(0.0, 0.3, 225)])
    return points + random.normal(0.0, 0.01, (225, 3))


def floors(random: Random) -> Floats:
    points = ground(random, 200)
    points[:, 2] = 20.0 + 3.2 * random.integers(0, 4, 200)
    return points


def hillside(random: Random) -> Floats:
    return ground(random, 1500)


_HONEST = [hillside, water_and_tarmac, two_rails, two_edges, monitored, by_design, parallel, staked, floors]


def found(place: Floats, decimals: int) -> list[tuple[int, int, int, int]]:
    return pasted_series(np.round(place, decimals), METRES, lambda values, axis: 10.0**-decimals)


@pytest.mark.parametrize("decimals", [2, 3, 4])
@pytest.mark.parametrize("made", _HONEST)
def test_no_honest_export_has_any(made: Callable[[Random], Floats], decimals: int) -> None:
    for seed in range(20):
        assert found(made(np.random.default_rng(seed)), decimals) == []


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("count", [3, 6, 12])
def test_cells_pasted_over_others_are_found(axis: int, count: int) -> None:
    for seed in range(20):
        place = ground(np.random.default_rng(seed), 120)
        place[70 : 70 + count, axis] = place[20 : 20 + count, axis]
        ((which, first, second, length),) = found(place, 3)
        assert (which, length) == (axis, count) and (first, second) == (20, 70)


def test_rows_that_repeat_whole_are_none() -> None:
    place = ground(np.random.default_rng(1), 120)
    place[70:90] = place[20:40]
    assert found(place, 3) == []
