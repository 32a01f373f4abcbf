"""Runs of readings off those around them by one step, planted in walks over ground; and ground that steps by itself."""

import numpy as np
import pytest

from pipeline.plausible import off_neighbours, on_sphere

#: Degrees in a metre, at the equator.
_DEGREE = 1.0 / 111_195.0


def grid(rows: int = 20, places: int = 15, way: float = 5.0, serpentine: bool = True) -> np.ndarray:
    """(n, 2) metres, row after row, every second one back where it is serpentine."""
    across = [range(places)[:: -1 if serpentine and row % 2 else 1] for row in range(rows)]
    return np.array([(way * at, way * row) for row, along in enumerate(across) for at in along])


def found(
    plan: np.ndarray, height: np.ndarray, marks: tuple[int, ...] = (), cut: int = 0, noise: float = 0.01
) -> list[tuple[int, int, float]]:
    places, number = on_sphere(7.0 + plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE), np.arange(len(plan))
    height = height + np.random.default_rng(3).normal(0.0, noise, len(plan))
    runs = off_neighbours(places, height, (number >= cut).astype(np.int64), np.isin(number, marks))
    return [(int(run.rows[0]), int(run.rows[-1]), run.up) for run in runs]


@pytest.mark.parametrize("serpentine", [True, False])
@pytest.mark.parametrize("by", [-0.2, 0.3, 4.8])
@pytest.mark.parametrize("noise", [0.0, 0.015])
@pytest.mark.parametrize("slope", [0.0, 0.03])
def test_readings_with_another_pole_in_a_grid_are_found(
    slope: float, serpentine: bool, by: float, noise: float
) -> None:
    plan = grid(serpentine=serpentine)
    height = slope * plan[:, 0] + slope**2 * plan[:, 0] * plan[:, 1] / 2
    height[66:142] += by
    ((first, last, up),) = found(plan, height, noise=noise)
    assert (first, last) == (66, 141) and up == pytest.approx(by, abs=0.02)


def test_so_are_those_that_lie_among_others() -> None:
    """Somebody measures at random, all over a field: no row tells, but what is off lies among what is not."""
    plan = np.random.default_rng(5).uniform(0.0, 60.0, (300, 2))
    height = np.zeros(300)
    height[120:200] -= 0.2
    ((first, last, up),) = found(plan, height)
    assert (first, last) == (120, 199) and up == pytest.approx(-0.2, abs=0.02)


def test_a_mark_or_another_export_amid_them_parts_them() -> None:
    plan = grid()
    height = np.zeros(len(plan))
    height[66:142] -= 0.2
    assert found(plan, height, marks=(100,)) == [] and found(plan, height, cut=100) == []


def lines(rows: list[tuple[float, float]], back: bool) -> tuple[np.ndarray, np.ndarray]:
    """Lines of 40 places, 5 m apart, walked one after the other: how far aside [m] each is, and its height."""
    along = 5.0 * np.arange(40)
    plan = [np.column_stack([along[:: -1 if back and n % 2 else 1], np.full(40, at)]) for n, (at, _) in enumerate(rows)]
    return np.vstack(plan), np.repeat([height for _, height in rows], 40)


_LINES = {
    "ditch": [(0, 0), (2, 0), (3.5, -0.8), (5, 0), (8, 0), (11, 0)],
    "ridges, then furrows": [(0, 0), (4, 0), (8, 0), (2, -0.8), (6, -0.8), (10, -0.8), (12, 0), (14, 0)],
    "kerb": [(-3, -0.05), (0, 0), (0.2, 0.12), (2, 0.1), (-6, -0.1), (-6.2, 0.02), (-8, 0)],
    "wall": [(0, 0), (0.4, 1.2), (3, 0), (6, 0)],
}


@pytest.mark.parametrize("back", [True, False])
@pytest.mark.parametrize("noise", [0.0, 0.02])
@pytest.mark.parametrize("rows", _LINES.values(), ids=_LINES)
def test_lines_at_other_heights_are_none(rows: list[tuple[float, float]], back: bool, noise: float) -> None:
    assert found(*lines(rows, back), noise=noise) == []


def test_nor_is_a_kerb_that_is_raised_for_a_stretch() -> None:
    plan, level = lines([(0, 0), (0.2, 0), (3, 0), (-3, 0)], False)
    height = level.astype(float)
    height[50:70] += 0.15
    assert found(plan, height) == []


@pytest.mark.parametrize("serpentine", [True, False])
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_nor_is_ground_that_steps_by_itself(serpentine: bool, noise: float) -> None:
    plan = grid(serpentine=serpentine)
    east, north = plan.T
    steps = {
        "terrace": north > 40.0,
        "two steps": (north > 40.0) & (north < 70.0),
        "platform": (east > 20.0) & (east < 50.0) & (north >= 20.0) & (north < 45.0),
        "at the edge": (east > 35.0) & (north >= 20.0) & (north < 35.0),
        "pit": np.hypot(east - 35.0, north - 50.0) < 20.0,
        "road aslant": np.abs(north - 50.0 - 0.3 * (east - 37.5)) < 11.0,
        "scarp": north - 50.0 > 0.1 * (east - 37.5),
        "narrow road, hardly aslant": np.abs(north - 50.0 - 0.1 * (east - 37.5)) < 6.0,
    }
    told = {name: runs for name, where in steps.items() if (runs := found(plan, 0.3 * where, noise=noise))}
    assert told == {} and found(plan, 3.0 * np.sin(east / 20.0) * np.cos(north / 17.0), noise=noise) == []


def test_nor_are_layers_put_on_the_same_grid() -> None:
    """Ground, then the gravel on it; with other ground measured before and after."""
    plan = grid(10, 10, 3.0)
    aside = np.array([40.0, 0.0])
    layers = np.vstack([plan - aside, plan, plan + 0.03, plan + aside])
    height = np.repeat([0.0, 0.0, 0.2, 0.0], 100)
    assert found(layers, height) == [] and found(layers[100:], height[100:]) == []


def test_few_or_no_readings_have_none() -> None:
    plan = grid(3, 5)
    assert found(plan, np.zeros(15)) == [] and found(plan[:0], np.zeros(0)) == []
    assert found(np.zeros((60, 2)), np.repeat([0.0, 0.3, 0.0], 20)) == []  # one place
