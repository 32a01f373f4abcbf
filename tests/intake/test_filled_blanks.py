"""Blanks of one coordinate that were filled from above are found in days of any size; honest days have none such.

What is honest is simulated with the roughness of its kind (common practice, no source): readings that scatter by some
millimetres, numbers as exports round them, and points that were computed in lines.
"""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.arrays import Floats
from pipeline.intake.filled_blanks import filled_blanks
from pipeline.sphere import DEGREE

Random = np.random.Generator
#: Degrees to the metre near 50 degrees north.
EAST, NORTH = 1.0 / (DEGREE * np.cos(np.radians(50.0))), 1.0 / DEGREE


def last_digit(values: Floats, axis: int, degrees: bool) -> float:
    """Return what the last of up to eleven decimals, seven of metres, is worth of the value that has most of them."""
    decimals = 11 if degrees and axis < 2 else 7
    most = max(len(f"{value:.{decimals}f}".rstrip("0").split(".")[1]) for value in values)
    return float(10.0**-most * (DEGREE if degrees and axis < 2 else 1.0))


def told(place: Floats, degrees: bool = True) -> list[tuple[int, int, int]]:
    """Return axis, rows that have the number of the row before, and rows of the stretch."""
    scale = np.array([1.0 / EAST, 1.0 / NORTH, 1.0]) if degrees else np.ones(3)
    found = filled_blanks(place, scale, lambda values, axis: last_digit(values, axis, degrees), degrees)
    return [(one.axis, one.count, one.stop - one.start) for one in found]


def degrees(plan: Floats, height: Floats, decimals: int = 9, up: int = 3) -> Floats:
    east, north = 9.2 + plan[:, 0] * EAST, 50.1 + plan[:, 1] * NORTH
    return np.column_stack([east.round(decimals), north.round(decimals), height.round(up)])


def metres(plan: Floats, height: Floats) -> Floats:
    return np.column_stack([300_000.0 + plan, height]).round(3)


def ground(random: Random, count: int) -> tuple[Floats, Floats]:
    plan = random.uniform(-60.0, 60.0, (count, 2))
    return plan, 100.0 + 3.0 * np.sin(plan[:, 0] / 60.0) + random.normal(0.0, 0.3, count)


def from_above(own: NDArray[np.bool_], place: Floats, axis: int) -> Floats:
    """Fill what is not a row's ``own`` from the row above it that is."""
    place[:, axis] = place[np.maximum.accumulate(np.where(own, np.arange(len(own)), 0)), axis]
    return place


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("count", [16, 24, 40, 300])
@pytest.mark.parametrize(("decimals", "written"), [(8, degrees), (9, degrees), (3, metres)])
def test_rows_filled_from_every_third_are_told(
    axis: int, count: int, decimals: int, written: Callable[..., Floats]
) -> None:
    found = 0
    for seed in range(30):
        plan, height = ground(np.random.default_rng(seed), count)
        place = degrees(plan, height, decimals) if written is degrees else metres(plan, height)
        for which, alike, rows in told(from_above(np.arange(count) % 3 == 0, place, axis), written is degrees):
            # some lie within two metres of the one before
            assert which == axis and alike >= 0.35 * count and rows >= 0.5 * count
            found += 1
    # of few rows many may end in zeros, as those of points that were laid out do
    assert found >= (27 if count < 40 else 30)


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("count", [5, 6, 7, 8, 9, 12])
@pytest.mark.parametrize("third", [True, False])
def test_few_rows_in_tenths_of_millimetres_are_enough(axis: int, count: int, third: bool) -> None:
    found = 0
    for seed in range(50):
        place = degrees(*ground(np.random.default_rng(seed), count))
        own = np.arange(count) % 3 == 0 if third else np.arange(count) == 0
        found += bool(told(from_above(own, place, axis)))
    # numbers may end in zeros, and neighbours lie within two metres
    assert found >= 40


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("count", [10, 16, 40])
def test_one_value_that_fills_nearly_all_rows_is_told(axis: int, count: int) -> None:
    for seed in range(20):
        place = degrees(*ground(np.random.default_rng(seed), count))
        place[2, axis] = 101.237 if axis == 2 else place[2, axis].round(5) + 1.2345e-5
        ((which, alike, _),) = told(from_above(np.arange(count) < 3, place, axis))
        assert which == axis and alike >= 0.6 * count


def test_a_part_of_a_large_day_is_told_by_its_rows() -> None:
    for seed in range(20):
        place = degrees(*ground(np.random.default_rng(seed), 900))
        ((axis, alike, rows),) = told(from_above((np.arange(900) % 3 == 0) | (np.arange(900) < 780), place, 1))
        assert axis == 1 and alike >= 70 and 105 <= rows <= 124


def scattered(random: Random) -> Floats:
    return degrees(*ground(random, 30))


def in_a_yard(random: Random) -> Floats:
    """Degrees to a decimetre, points some metres apart."""
    plan, height = ground(random, 40)
    return degrees(plan / 15.0, height, 6)


def wall_along_a_meridian(random: Random) -> Floats:
    along = np.arange(30) * 4.0
    return degrees(np.column_stack([random.normal(0.0, 0.003, 30), along]), 100.0 + random.normal(0.0, 0.3, 30), 7)


def straight_wall(random: Random) -> Floats:
    """A wall that is straighter than it is measured, to the millimetre."""
    along = np.arange(40) * 4.0 + random.normal(0.0, 0.5, 40)
    return degrees(np.column_stack([random.normal(7.0, 0.002, 40), along]), 100.0 + random.normal(0.0, 0.3, 40), 8)


def grid_line(random: Random) -> Floats:
    """Pegs on one line of a grid by design, as designed."""
    return metres(np.column_stack([np.full(20, 123.45), np.arange(20) * 5.0]), 100.0 + random.normal(0.0, 0.3, 20))


def grid_line_of_no_round_number(random: Random) -> Floats:
    return metres(np.column_stack([np.full(20, 123.456), np.arange(20) * 5.0]), 100.0 + random.normal(0.0, 0.3, 20))


def computed_parallel(random: Random) -> Floats:
    """Chainages along a parallel, with heights on a grade."""
    along = np.cumsum(random.uniform(3.0, 9.0, 20))
    return degrees(np.column_stack([along, np.full(20, 7.1234)]), 100.0 + 0.0123 * along)


def grid_of_pegs(random: Random) -> Floats:
    """Three by ten, as designed, walked across."""
    east, north = np.divmod(np.arange(30), 3)
    plan = np.column_stack([east * 5.123, north * 4.321]) + 0.1234
    return degrees(plan, 100.0 + random.normal(0.0, 0.3, 30))


def cross_sections(random: Random) -> Floats:
    """Left, middle and right of a road along a parallel, as designed."""
    along = np.repeat(np.cumsum(random.uniform(3.0, 9.0, 10)), 3)
    return degrees(np.column_stack([along, np.tile([3.5, 0.0, -3.5], 10) + 0.1234]), 100.0 + 0.01 * along)


def both_edges(random: Random) -> Floats:
    along = np.repeat(np.cumsum(random.uniform(3.0, 9.0, 15)), 2)
    side = np.tile([3.5, -3.5], 15) + random.normal(0.0, 0.3, 30)
    return degrees(np.column_stack([along, side]), 100.0 + random.normal(0.0, 0.3, 30))


def one_mark_again(random: Random) -> Floats:
    """Readings at one mark, of which half have one number, and a few points."""
    plan, height = ground(random, 30)
    plan[5:25], height[5:25] = plan[5] + random.integers(-1, 2, (20, 2)) * 1e-4, height[5]
    return degrees(plan, height)


def static_logs(random: Random) -> Floats:
    plan, height = ground(random, 3)
    return degrees(np.repeat(plan, 20, axis=0), np.repeat(height, 20))


def water(random: Random) -> Floats:
    plan, height = ground(random, 40)
    height[10:] = 99.5 + random.normal(0.0, 0.004, 30)
    return degrees(plan, height)


def polder(random: Random) -> Floats:
    plan, _ = ground(random, 40)
    return degrees(plan, 0.5 + random.normal(0.0, 0.02, 40), up=2)


def floors(random: Random) -> Floats:
    """Slabs whose corners are measured one after the other, to the centimetre."""
    plan, _ = ground(random, 40)
    return degrees(plan, np.repeat(100.0 + random.normal(0.0, 1.0, 10), 4) + random.normal(0.0, 0.003, 40), up=2)


def design_levels(random: Random) -> Floats:
    """Slabs with the levels of their design, in an export to the millimetre."""
    plan, _ = ground(random, 40)
    height = np.repeat((100.0 + random.normal(0.0, 1.0, 10)).round(2), 4)
    height[::13] += 0.003
    return degrees(plan, height)


def stairs(random: Random) -> Floats:
    """Both ends of each step, to the millimetre, as designed."""
    step = np.repeat(np.arange(20), 2)
    plan = np.column_stack([step * 0.3 + 100.0, np.tile([0.0, 3.0], 20)])
    return degrees(plan, 100.0 + step * 0.163)


def half_the_bytes(random: Random) -> Floats:
    place = degrees(*ground(random, 40))
    place[:, :2] = place[:, :2].astype(np.float32).astype(np.float64).round(9)
    return place


def heights_in_half_the_bytes(random: Random) -> Floats:
    plan, height = ground(random, 40)
    return degrees(plan, height.astype(np.float16).astype(np.float64) + 0.0371, up=4)


def level_heights(random: Random) -> Floats:
    """All heights by design."""
    plan, _ = ground(random, 12)
    return degrees(plan, np.full(12, 100.0))


def flat(random: Random, count: int, rough: float = 0.1) -> tuple[Floats, Floats]:
    """Ground nearly as flat as its heights are rounded, walked along."""
    plan = np.column_stack([np.arange(count) * 4.0, np.zeros(count)]) + random.normal(0.0, 1.0, (count, 2))
    return plan, random.uniform(60.0, 900.0) + np.cumsum(random.normal(0.0, 0.3 * rough, count))


def rounded_in_two_bytes(random: Random) -> Floats:
    """Heights that a library kept in two bytes, written to the millimetre: steps of 6 to 50 cm."""
    plan, height = flat(random, 16)
    return degrees(plan, height.astype(np.float16).astype(np.float64), up=3)


def two_bytes_at_once(random: Random) -> Floats:
    """The same of rough ground far up, where a step is half a metre."""
    plan, height = flat(random, 40, 1.0)
    return degrees(plan, (height + 500.0).astype(np.float16).astype(np.float64) + 0.0371, up=4)


def decimetres_and_a_constant(random: Random) -> Floats:
    """Heights to the decimetre on flat ground, less an antenna's height."""
    plan, height = flat(random, 20, 0.3)
    return degrees(plan, height.round(1) - 1.537)


def metres_and_a_constant(random: Random) -> Floats:
    plan, height = flat(random, 20, 2.0)
    return degrees(plan, height.round(0) + 47.213)


def tenths_of_feet(random: Random) -> Floats:
    """Heights that were written to the tenth of a foot, converted."""
    plan, height = flat(random, 20)
    return degrees(plan, (height / 0.3048).round(1) * 0.3048, up=4)


def half_decimetres_and_a_sloping_geoid(random: Random) -> Floats:
    plan, height = flat(random, 24, 0.2)
    return degrees(plan, (height / 0.05).round() * 0.05 + 47.0 + plan[:, 0] * 2e-5)


def slow_river(random: Random) -> Floats:
    """A water's edge of two readings at each section, that falls slowly."""
    along = np.cumsum(random.uniform(10.0, 30.0, 20)).repeat(2)
    plan = np.column_stack([along, np.tile([0.0, 12.0], 20) + random.normal(0.0, 1.0, 40)])
    return degrees(plan, 80.0 - 2e-4 * along + random.normal(0.0, 0.004, 40))


def stakes_along_one_northing(random: Random) -> Floats:
    """Set out by hand along one northing of the grid: as near as a hand holds a pole."""
    plan = np.column_stack([np.cumsum(random.uniform(3.0, 12.0, 30)), random.normal(5.0, 0.01, 30)])
    return metres(plan, 100.0 + random.normal(0.0, 0.3, 30))


def corners_of_a_house_again(random: Random) -> Floats:
    """Four corners of a house that stands along the grid, as designed, five times over."""
    corners = np.array([[0.0, 0.0], [0.0, 8.24], [11.37, 8.24], [11.37, 0.0]]) + 0.123
    return metres(np.tile(corners, (5, 1)), 100.0 + random.normal(0.0, 0.004, 20))


def four_bytes_near_the_meridian(random: Random) -> Floats:
    """Degrees kept in four bytes where longitudes are small: latitudes to decimetres, longitudes to the millimetre."""
    plan = np.column_stack([np.cumsum(random.uniform(2.5, 6.0, 30)), np.cumsum(random.normal(0.0, 0.1, 30))])
    place = np.column_stack([0.09 + plan[:, 0] * EAST, 50.1 + plan[:, 1] * NORTH, np.zeros(30)])
    place[:, :2] = place[:, :2].astype(np.float32).astype(np.float64).round(9)
    place[:, 2] = (100.0 + random.normal(0.0, 0.3, 30)).round(3)
    return place


def four_bytes_of_a_grid(random: Random) -> Floats:
    """Eastings and northings kept in four bytes: to centimetres and to half a metre."""
    plan = np.column_stack([np.cumsum(random.uniform(2.5, 6.0, 30)), np.cumsum(random.normal(0.0, 0.1, 30))])
    place = np.column_stack([300_000.0 + plan[:, 0], 5_540_000.0 + plan[:, 1]])
    place = place.astype(np.float32).astype(np.float64).round(3)
    return np.column_stack([place, (100.0 + random.normal(0.0, 0.3, 30)).round(3)])


def seconds_converted(random: Random) -> Floats:
    """A few points along a parallel, to hundredths of a second, converted."""
    plan = np.column_stack([np.cumsum(random.uniform(3.0, 9.0, 8)), random.normal(0.0, 0.03, 8)])
    place = degrees(plan, 100.0 + random.normal(0.0, 0.3, 8))
    place[:, :2] = ((place[:, :2] * 3600.0).round(2) / 3600.0).round(9)
    return place


def tenths_of_feet_of_a_grid(random: Random) -> Floats:
    plan = np.column_stack([np.cumsum(random.uniform(3.0, 9.0, 8)), random.normal(0.0, 0.01, 8)])
    return metres(((300_000.0 + plan) / 0.3048).round(1) * 0.3048 - 300_000.0, 100.0 + random.normal(0.0, 0.3, 8))


def wall_of_five(random: Random) -> Floats:
    """Five points of a wall along a parallel, in tenths of millimetres: no two agree but by chance."""
    plan = np.column_stack([np.arange(5) * 7.0 + random.normal(0.0, 0.2, 5), random.normal(0.0, 0.002, 5)])
    return degrees(plan, 100.0 + random.normal(0.0, 0.3, 5))


_HONEST = [scattered, in_a_yard, wall_along_a_meridian, straight_wall, grid_line, grid_line_of_no_round_number,
           computed_parallel, grid_of_pegs, cross_sections, both_edges, one_mark_again, static_logs, water, polder,
           floors, design_levels, stairs, half_the_bytes, heights_in_half_the_bytes, level_heights,
           rounded_in_two_bytes, two_bytes_at_once, decimetres_and_a_constant, metres_and_a_constant, tenths_of_feet,
           half_decimetres_and_a_sloping_geoid, slow_river, stakes_along_one_northing, corners_of_a_house_again,
           four_bytes_near_the_meridian, four_bytes_of_a_grid, seconds_converted,
           tenths_of_feet_of_a_grid, wall_of_five]  # fmt: skip


@pytest.mark.parametrize("honest", _HONEST)
@pytest.mark.parametrize("count", [4, 5, 6, 8, 11])
def test_honest_rows_that_are_few_have_none_in_plan(honest: Callable[[Random], Floats], count: int) -> None:
    for seed in range(40):
        random = np.random.default_rng(seed)
        place = honest(random)
        start = int(random.integers(0, max(1, len(place) - count)))
        few = place[start : start + count]
        assert [one for one in told(few, degrees=bool(abs(place[0, 0]) < 180.0)) if one[0] < 2] == [], seed


@pytest.mark.parametrize("honest", _HONEST)
def test_honest_days_have_none(honest: Callable[[Random], Floats]) -> None:
    for seed in range(40):
        place = honest(np.random.default_rng(seed))
        assert told(place, degrees=bool(abs(place[0, 0]) < 180.0)) == [], seed


@pytest.mark.parametrize("value", [1e15, np.nan, 0.0])
@pytest.mark.parametrize("count", [0, 1, 20])
def test_numbers_that_are_no_coordinates_do_no_harm(value: float, count: int) -> None:
    assert told(np.full((count, 3), value)) == []
