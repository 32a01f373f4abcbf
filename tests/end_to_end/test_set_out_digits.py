"""Exports of points that were set out on round design coordinates, whole or with rows whose digits were cut.

Readings scatter about the design by staking and by noise, some millimetres each, so that one in some ten has the round
coordinate to the last digit: they have all of their digits. Rows cut in a spreadsheet lie anywhere instead.
"""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import GRS80
from examined import doubts_before
from feet import FEET, GEOGRAPHIC, METRES, SURVEY, ZONE, geoid, raw_grid, with_grid_columns, with_source
from numpy.typing import NDArray
from simulate import Place, Plan, simulate

Values = NDArray[np.float64]


def design(kind: str, count: int, unit: float, rng: np.random.Generator) -> Values:
    """Round coordinates (n, 2) in units: a grid of stations every 5, two rows of piles, or boreholes anywhere."""
    if kind == "grid":
        east, north = np.divmod(np.arange(count), 11)
        return np.column_stack([east, north]) * 5.0
    if kind == "rows":
        return np.column_stack([np.arange(count) // 60 * 12.0, np.arange(count) % 60 * 2.5])
    return np.asarray(rng.integers(0, int(400 / unit), (count, 2)), float)


def written(
    folder: Path,
    kind: str,
    *,
    digits: int = 3,
    noise: float = 0.007,
    seed: int = 1,
    crs: str = METRES,
    off: float = 0.0,
) -> tuple[Path, Values]:
    """Write a job whose points were set out; return its path and the raw grid coordinates (n, 3) in units."""
    place = Place(-88.2, 40.1, 210.0, GRS80, ZONE, METRES, GEOGRAPHIC, "EPSG:5703", geoid(folder))
    job = simulate(Plan(sessions=1, points=120, ties=1, checks=2, marks=3, reach=400.0, seed=seed, place=place))
    unit, rng = SURVEY if crs == FEET else 1.0, np.random.default_rng(seed)
    values = raw_grid(job) / unit
    points = np.flatnonzero(job.rows["kind"] == "point")
    there = np.round(values[points, :2].mean(axis=0), -2) + off + design(kind, len(points), unit, rng)
    values[points, :2] = there + rng.normal(0.0, noise / unit, there.shape)
    values = np.column_stack([np.round(values[:, :2], digits), np.round(values[:, 2], 3)])
    path = job.write(folder)
    with_source(path, crs, "us-survey-foot" if crs == FEET else None)
    return path, values


def told(path: Path, values: Values) -> list[str]:
    with_grid_columns(path, values)
    return [text for text in doubts_before(path) if "rounded to" in text]


@pytest.mark.parametrize("kind", ["grid", "rows", "boreholes"])
@pytest.mark.parametrize(("digits", "noise"), [(3, 0.004), (3, 0.007), (3, 0.012), (2, 0.007)])
@pytest.mark.parametrize("crs", [METRES, FEET])
def test_points_set_out_on_round_coordinates_are_let_be(
    kind: str, digits: int, noise: float, crs: str, tmp_path: Path
) -> None:
    assert told(*written(tmp_path, kind, digits=digits, noise=noise, crs=crs)) == []


@pytest.mark.parametrize("seed", range(3))
def test_so_are_those_whose_base_was_off_by_nearly_a_full_decimetre(seed: int, tmp_path: Path) -> None:
    assert told(*written(tmp_path, "grid", seed=seed, off=1.304)) == []


@pytest.mark.parametrize("decimals", [0, 1])
@pytest.mark.parametrize("seed", range(3))
def test_rows_cut_among_points_that_lie_anywhere_are_doubted(decimals: int, seed: int, tmp_path: Path) -> None:
    """A survey beside a few stations that were set out: the cut rows have nothing beside them."""
    path, values = written(tmp_path, "grid", seed=seed)
    rng = np.random.default_rng(seed)
    values[40:100, :2] = np.round(values[3, :2] + rng.uniform(0.0, 400.0, (60, 2)), 3)
    values[50:65, :2] = np.round(values[50:65, :2], decimals)
    (doubt,) = told(path, values)
    assert "ings rounded to" in doubt


def test_a_station_grid_not_on_round_coordinates_with_its_eastings_cut_is_doubted(tmp_path: Path) -> None:
    path, values = written(tmp_path, "grid", off=0.45)
    values[30:60, 0] = np.round(values[30:60, 0], 1)
    (doubt,) = told(path, values)
    assert " 30 readings of " in doubt
    assert "have eastings rounded to 0.1 m" in doubt
