"""Heights with one digit mistyped in some rows, planted in the way of somebody who walks over gentle ground."""

import numpy as np
import pytest

from pipeline.plausible import HeightJump, JumpLook, height_jumps, on_sphere

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
    return [(jump.rows.tolist(), jump.by) for jump in told if jump.looks is not JumpLook.OPEN]


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


def to_and_fro(east: int, north: int, step: float) -> np.ndarray:
    """(n, 2) metres of somebody who walks over a field line by line, to and fro."""
    return np.array(
        [(x * step, (y if x % 2 == 0 else north - 1 - y) * step) for x in range(east) for y in range(north)]
    )


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("by", [10.0, -20.0, 100.0])
def test_a_long_run_among_the_rest_is_told(by: float, seed: int) -> None:
    """Twice over a field, the second time between the lines of the first: 30 of these are a digit too high."""
    rng = np.random.default_rng(seed)
    plan = np.vstack([to_and_fro(6, 10, 20.0), to_and_fro(6, 10, 20.0) + 10.0]) + rng.normal(0.0, 2.0, (120, 2))
    height = 100.0 + plan[:, 0] / 100.0 + rng.normal(0.0, 0.1, 120)
    rows = list(range(70 + seed, 100 + seed))
    height[rows] += by
    ((run, metres),) = found(plan, height)
    assert run == rows and metres == pytest.approx(by, abs=0.5)


@pytest.mark.parametrize("rows", [11, 20, 36, 45])
@pytest.mark.parametrize("by", [100.0, -200.0, 90.0])
def test_a_long_run_is_told_where_nobody_climbs_as_far(by: float, rows: int) -> None:
    """A base was started with a digit of its height typed wrong, and right again an hour later; all along one way."""
    plan, height = walk()
    height[30 : 30 + rows] += by
    ((run, metres),) = found(plan, height)
    assert run == list(range(30, 30 + rows)) and metres == pytest.approx(by, abs=0.5)


@pytest.mark.parametrize(("by", "step"), [(30.0, 15.0), (70.0, 15.0), (100.0, 80.0), (97.0, 60.0)])
def test_long_runs_on_what_people_climb_are_quiet(by: float, step: float) -> None:
    """A tower block of 30 or 70 m, and banks of 100 and 97 m reached by a slope."""
    plan, height = walk()
    height[30:50] += by
    assert found(plan * (step / 15.0), height) == []


@pytest.mark.parametrize("seed", range(5))
def test_long_runs_on_something_that_stands_there_are_quiet(seed: int) -> None:
    """Ten metres to the centimetre each: terraces, a roof, a round bench, a crest, and a deck with a bed below it."""
    rng = np.random.default_rng(seed)
    field, angle, along = to_and_fro(6, 10, 8.0), np.linspace(0.0, np.pi, 40), np.arange(0.0, 200.0, 8.0)
    round_bench = 80.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    crest = np.vstack([np.column_stack([along, 0 * along]), np.column_stack([along[::-1], 0 * along + 4.0])])
    bed = np.column_stack([along, 0 * along + 2.0])
    south, north = field - np.array([0.0, 90.0]), field + np.array([0.0, 12.0])
    floor = field - np.array([20.0, 30.0])
    sites = {
        "terrace": (field[:20], field[20:40], field[40:]),
        "part of one": (field[:24], field[24:47], field[47:]),
        "roof": (south, to_and_fro(5, 5, 6.0) + np.array([20.0, 0.0]), north + 28.0),
        "round bench": (floor, round_bench, floor[::-1] + 3.0),
        "crest": (south, crest, north),
        "deck": (np.vstack([south, bed]), crest, np.vstack([bed[::-1], north])),
    }
    for name, (before, run, after) in sites.items():
        plan = np.vstack([before, run, after]) + rng.normal(0.0, 0.2, (len(before) + len(run) + len(after), 2))
        height = 100.0 + rng.normal(0.0, 0.1, len(plan))
        height[len(before) : len(before) + len(run)] += 10.0
        assert found(plan, height) == [], name


def looks(plan: np.ndarray, height: np.ndarray, marks: tuple[int, ...] = ()) -> list[tuple[list[int], str]]:
    """Return what runs look like that jump by no round number, those too that only the separation may explain."""
    places = on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE)
    number = np.arange(len(plan))
    told = height_jumps(places, height, np.ones(len(plan)), np.zeros(len(plan), np.int64), np.isin(number, marks))
    return [(jump.rows.tolist(), str(jump.looks)) for jump in told]


@pytest.mark.parametrize("rows", [[8], [8, 9, 10, 11], list(range(30, 54))])
@pytest.mark.parametrize("by", [86.3, -124.6])
def test_heights_that_nobody_climbs_are_told_whatever_their_number(by: float, rows: list[int]) -> None:
    plan, height = walk(100 if len(rows) > 4 else 22)
    height[rows] += by
    assert looks(plan, height) == [(rows, "steep")]
    mark = max(rows) + 1
    plan[mark, 0] += 300.0  # somebody checked a mark before going on
    assert looks(plan, height, marks=(mark,)) == [(rows, "steep")]


@pytest.mark.parametrize("rows", [[8], list(range(8, 18)), list(range(30, 54))])
def test_heights_in_feet_or_of_the_other_sign_are_told_so(rows: list[int]) -> None:
    plan, height = walk()
    for ground, factor, look in ((20.4, 1.0 / _FOOT, "feet"), (60.0, _FOOT, "feet"), (17.3, -1.0, "sign")):
        low = height - 240.0 + ground
        low[rows] *= factor
        assert looks(plan, low) == [(rows, look)]


@pytest.mark.parametrize("rows", [[8], [8, 9], list(range(8, 16))])
def test_other_leaps_are_left_to_the_separation(rows: list[int]) -> None:
    plan, height = walk()
    height[rows] -= 46.6
    ((run, look),) = looks(plan, height)
    assert run == rows and look == "open"
    for start in (20, 40, 60):
        height[start : start + 3] += 46.6
    assert looks(plan, height) == []  # again and again: that is the work
    low = walk()[1]
    low[rows] -= 12.6
    assert looks(plan, low) == []


def test_a_long_run_among_the_rest_is_told_whatever_its_number() -> None:
    rng = np.random.default_rng(1)
    plan = np.vstack([to_and_fro(6, 10, 20.0), to_and_fro(6, 10, 20.0) + 10.0]) + rng.normal(0.0, 2.0, (120, 2))
    height = 100.0 + plan[:, 0] / 100.0 + rng.normal(0.0, 0.1, 120)
    rows = list(range(70, 94))
    height[rows] += 33.7
    assert looks(plan, height) == [(rows, "steep")]


def over_hills(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) metres and (n,) heights of 25 readings at a time, 3 to 14 m apart, here and there over steep hills."""
    rng = np.random.default_rng(seed)
    relief, wide = rng.uniform(20.0, 100.0), rng.uniform(400.0, 2_500.0)
    plan, place, heading = [], np.zeros(2), 0.0
    for number in range(150):
        if number % 25 == 0:
            place, heading = (place + rng.uniform(-wide, wide, 2) / 4.0) * 0.8, rng.uniform(0.0, 2.0 * np.pi)
        heading += rng.normal(0.0, 0.25)
        place = place + rng.uniform(3.0, 14.0) * np.array([np.cos(heading), np.sin(heading)])
        plan.append(place)
    east, north = (where := np.array(plan)).T / wide
    hills = np.sin(2.1 * east + 0.3) * np.cos(1.7 * north) + 0.35 * np.sin(7.0 * east + 5.0 * north)
    return where, 800.0 + 0.6 * relief * hills + rng.normal(0.0, 0.15, 150)


@pytest.mark.parametrize("separation", [20.0, 47.8])
def test_another_height_system_in_hills(separation: float) -> None:
    """17 to 40 rows in a row off by the separation, as somebody works on here and there; 60 such days, 60 sound ones.

    Of the days four in five are found: a stretch that begins or ends on the way elsewhere is not.
    """
    found_in = 0
    for seed in range(60):
        plan, height = over_hills(seed)
        assert not any(fits(jump, separation) for jump in told_of(plan, height))
        rng = np.random.default_rng(seed + 1_000)
        first = int(rng.integers(5, 105))
        rows = np.arange(first, first + int(rng.integers(17, 41)))
        height[rows] -= separation
        found_in += any(
            jump.rows.tolist() == rows.tolist() and fits(jump, separation) for jump in told_of(plan, height)
        )
    assert found_in >= 48


def told_of(plan: np.ndarray, height: np.ndarray) -> list[HeightJump]:
    places = on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE)
    nothing = np.zeros(len(plan), np.int64)
    return height_jumps(places, height, np.ones(len(plan)), nothing, nothing > 0)


def fits(jump: HeightJump, separation: float) -> bool:
    """Tell whether a jump is told: one left open is where it is the separation, to what the ground may have made."""
    return jump.looks is not JumpLook.OPEN or abs(abs(jump.by) - separation) <= max(jump.miss, 0.3)
