"""Numbers that rows elsewhere have in common, anywhere in an export, are told; what honest work repeats is not.

What is honest is simulated with what its kind repeats (common practice, no source): numbers that a converter rounded
otherwise than they are written, points measured again, lines and lattices that were laid out, floors and water.
"""

from collections.abc import Callable

import numpy as np
import pytest

from pipeline.arrays import Floats
from pipeline.intake.shared_numbers import shared_numbers
from pipeline.sphere import DEGREE

Random = np.random.Generator
#: Degrees to the metre near 50 degrees north, for places.
EAST, NORTH = 1.0 / (DEGREE * np.cos(np.radians(50.0))), 1.0 / DEGREE
SCALE = np.array([1.0 / EAST, 1.0 / NORTH, 1.0])


def last_digit(values: Floats, axis: int) -> float:
    """Return what the last of up to eleven decimals is worth, of the value that has most of them."""
    most = max(len(f"{value:.11f}".rstrip("0").split(".")[1]) for value in values)
    return float(10.0**-most / (NORTH if axis < 2 else 1.0))


def degrees(plan: Floats, height: Floats, decimals: int = 9) -> Floats:
    east, north = 9.2 + plan[:, 0] * EAST, 50.1 + plan[:, 1] * NORTH
    return np.column_stack([east.round(decimals), north.round(decimals), height.round(4)])


def ground(random: Random, count: int = 120) -> tuple[Floats, Floats]:
    plan = random.uniform(-150.0, 150.0, (count, 2))
    return plan, 100.0 + 3.0 * np.sin(plan[:, 0] / 60.0) + random.normal(0.0, 0.3, count)


def told(place: Floats) -> dict[int, int]:
    return {axis: len(pairs) for axis, pairs, _, _ in shared_numbers(place, SCALE, last_digit, True)}


def looked_up(random: Random, place: Floats, axis: int) -> int:
    """Ten rows with the number of some other row, as of a table joined by a wrong key."""
    rows = random.choice(len(place), 20, replace=False)
    place[rows[:10], axis] = place[rows[10:], axis]
    return 10


def filled_from_above(random: Random, place: Floats, axis: int) -> int:
    rows = np.arange(5, 85, 10)
    place[rows, axis] = place[rows - 1, axis]
    return 8


def filled_by_the_mean(random: Random, place: Floats, axis: int) -> int:
    place[np.arange(5, 85, 10), axis] = place[:, axis].mean().round(9 if axis < 2 else 4)
    return 7


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("wrong", [looked_up, filled_from_above, filled_by_the_mean])
def test_numbers_of_other_rows_are_told(wrong: Callable[[Random, Floats, int], int], axis: int) -> None:
    for seed in range(20):
        random = np.random.default_rng(seed)
        place = degrees(*ground(random))
        count = wrong(random, place, axis)
        # a few may end in two zeros or lie beside each other; another is so by chance
        found = told(place)
        assert set(found) == {axis} and count - 4 <= found[axis] <= count + 2


def as_it_is(random: Random) -> Floats:
    return degrees(*ground(random))


def many(random: Random) -> Floats:
    return degrees(*ground(random, 5_000))


def to_centimetres(random: Random) -> Floats:
    plan, height = ground(random, 400)
    return degrees(plan, height, 7)


def of_minutes(random: Random) -> Floats:
    """Degrees and minutes to 2 mm, which a converter wrote as degrees."""
    place = degrees(*ground(random, 1_000))
    place[:, :2] = (np.round(place[:, :2] * 60.0, 6) / 60.0).round(10)
    return place


def of_seconds(random: Random) -> Floats:
    place = degrees(*ground(random, 1_000))
    place[:, :2] = (np.round(place[:, :2] * 3600.0, 4) / 3600.0).round(11)
    return place


def in_half_the_bytes(random: Random) -> Floats:
    place = degrees(*ground(random))
    place[:, :2] = place[:, :2].astype(np.float32).astype(np.float64).round(9)
    return place


def millimetres_over_a_pole(random: Random) -> Floats:
    plan, height = ground(random, 300)
    return degrees(plan, height.round(3) + 0.0354)


def half_millimetres(random: Random) -> Floats:
    plan, height = ground(random, 300)
    return degrees(plan, (height * 2000.0).round() / 2000.0 + 0.0001)


def of_feet(random: Random) -> Floats:
    plan, height = ground(random, 300)
    return degrees(plan, (height / 0.3048).round(3) * 0.3048)


def measured_again(random: Random) -> Floats:
    """Points of a deformation survey, of which some epochs give the same last digits."""
    plan, height = ground(random, 30)
    again = [degrees(plan + random.normal(0.0, 0.004, plan.shape), height) for _ in range(10)]
    again[3][:10], again[5][:6] = again[0][:10], again[1][:6]
    return np.vstack(again)


def at_rest(random: Random) -> Floats:
    plan, height = ground(random, 60)
    still = np.repeat(plan[:3], 200, axis=0) + random.normal(0.0, 0.003, (600, 2))
    return degrees(np.vstack([plan, still]), np.concatenate([height, np.repeat(height[:3], 200)]))


def walls(random: Random) -> Floats:
    """Walls along parallels and meridians, measured to millimetres."""
    plan, height = ground(random, 60)
    along = np.arange(40) * 3.0
    wall = np.column_stack([along, np.full(40, 20.0)])
    plan = np.vstack([plan, wall, wall[:, ::-1]])
    plan += random.normal(0.0, 0.002, plan.shape)
    return degrees(plan, np.concatenate([height, np.repeat(101.0, 80) + random.normal(0.0, 0.3, 80)]))


def floors(random: Random) -> Floats:
    plan, height = ground(random, 300)
    height[::2] = 20.0 + 3.2 * random.integers(0, 4, 150) + random.normal(0.0, 0.003, 150)
    return degrees(plan, height)


def lattice(random: Random) -> Floats:
    """A few rows of a lattice that was laid out, among others."""
    plan, height = ground(random, 100)
    east, north = np.meshgrid(np.arange(5) * 4.321, np.arange(4) * 4.321)
    plan[:20] = np.column_stack([east.ravel(), north.ravel()]) + 0.1234
    return degrees(plan, height)


def edges(random: Random) -> Floats:
    """A road along a parallel, computed: an edge, then the other one backwards."""
    plan, height = ground(random, 100)
    along = np.cumsum(random.uniform(3.0, 9.0, 15))
    plan[20:35] = np.column_stack([along, np.full(15, 7.0) + random.normal(0.0, 0.1, 15)])
    plan[35:50] = plan[20:35][::-1] + np.array([0.0, 6.0])
    return degrees(plan, height)


def round_ones(random: Random) -> Floats:
    """Some rows written by hand, to a metre."""
    place = degrees(*ground(random))
    place[:15] = np.column_stack([place[:15, :2].round(5), place[:15, 2].round(1)])
    return place


@pytest.mark.parametrize(
    "honest",
    [
        as_it_is,
        many,
        to_centimetres,
        of_minutes,
        of_seconds,
        in_half_the_bytes,
        millimetres_over_a_pole,
        half_millimetres,
        of_feet,
        measured_again,
        at_rest,
        walls,
        floors,
        lattice,
        edges,
        round_ones,
    ],
)
def test_what_honest_work_repeats_is_not_told(honest: Callable[[Random], Floats]) -> None:
    for seed in range(20):
        assert not told(honest(np.random.default_rng(seed))), seed


@pytest.mark.parametrize("value", [1e15, np.nan, 0.0])
def test_numbers_that_are_no_coordinates_do_no_harm(value: float) -> None:
    place = np.full((40, 3), value) + np.arange(40)[:, None] // 4
    assert not told(place)
