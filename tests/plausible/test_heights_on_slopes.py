"""Heights on smooth steep relief, which are no slips, and slips among them: those are told as before.

The relief is drawn: waves of some kilometres, as a valley and its flanks are. Sizes are metres.
"""

import numpy as np
import pytest

from pipeline.arrays import Flags, Floats
from pipeline.plausible.heights import fence, out_of_place

DOUBTFUL, DAYS, EARTH = 90.0, 60, 6_371_000.0


def day(seed: int, relief: float, wide: float) -> tuple[Floats, Floats, np.random.Generator]:
    """Return (80, 3) places of somebody's way across a relief, and heights there."""
    drawn = np.random.default_rng(seed)
    plan = drawn.normal(size=(80, 2)).cumsum(axis=0)
    plan -= plan.mean(axis=0)
    plan *= wide / 2 / np.abs(plan).max()
    first, second = plan.T / wide * 3 + drawn.uniform(0, 6, (2, 1))
    height = 1_500.0 + relief / 2 * np.sin(first) * np.cos(second) + drawn.normal(0, 0.003 * relief, 80)
    return np.column_stack([np.full(80, EARTH), plan]), height, drawn


def told(places: Floats, height: Floats) -> Flags:
    _, false, odd = out_of_place(places, height, np.zeros(len(height), bool), fence(height), DOUBTFUL)
    return np.asarray(false | odd)


@pytest.mark.parametrize(("relief", "wide", "most"), [(2_400, 9_000, 6), (1_200, 9_000, 4), (400, 3_000, 0)])
def test_few_heights_of_a_smooth_relief_are_told(relief: float, wide: float, most: int) -> None:
    """Of 4,800 heights; three or four times as many are told without a look at the slope."""
    assert sum(int(told(*day(seed, relief, wide)[:2]).sum()) for seed in range(DAYS)) <= most


@pytest.mark.parametrize(("relief", "wide", "slip", "least"), [(400, 3_000, 1_000, 60), (150, 1_500, 300, 60)])
def test_slips_are_told(relief: float, wide: float, slip: float, least: int) -> None:
    found = 0
    for seed in range(DAYS):
        places, height, drawn = day(seed, relief, wide)
        row = int(drawn.integers(len(height)))
        height[row] += slip * drawn.choice([-1, 1])
        found += int(told(places, height)[row])
    assert found >= least


def test_the_foot_of_an_even_slope_is_none() -> None:
    """A flank of 30 degrees whose foot lies 700 m beyond the next reading, and the same with its height 900 m off."""
    drawn = np.random.default_rng(1)
    along = np.append(np.linspace(0.0, 1_500.0, 40), -700.0)
    plan = np.column_stack([along, drawn.uniform(-300.0, 300.0, len(along))])
    slope = np.tan(np.radians(30.0))
    places, height = np.column_stack([np.full(len(along), EARTH), plan]), 1_000.0 + slope * along
    assert not told(places, height).any()
    height[-1] -= 900.0
    assert np.flatnonzero(told(places, height)).tolist() == [40]
