"""Readings far aside in a run of one code, in jobs without lines to draw: kerbs, verges, zigzags, trees, by their way.

A simulated day whose points are laid out anew, as somebody walks; what is planted lies aside by many steps.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from running import record_of
from simulate import Plan, Simulation, simulate
from simulate_plan import turn_enu

Ways = NDArray[np.float64]


def day(way: Ways, seconds: NDArray[np.int64] | None = None, codes: list[str] | None = None) -> Simulation:
    """Return a day whose points lie along (n, 2) metres east and north, each so many seconds after the last."""
    count = len(way)
    job = simulate(Plan(sessions=1, points=count, checks=3, marks=4, seed=6))
    points = np.flatnonzero(job.rows["kind"] == "point")
    for name in ("longitude", "latitude", "height"):
        job.rows[name] = job.rows[name].copy()
        job.rows[name][points] = job.rows[name][points[0]]
    chosen = job.rows["kind"] == "point"
    east_north_up = np.column_stack([way, np.zeros(count)])
    at = job.rows["longitude"][points[0]], job.rows["latitude"][points[0]]
    job.displace(chosen, turn_enu(*at, east_north_up))
    gone = np.cumsum(seconds if seconds is not None else np.full(count, 12))
    job.rows["time"] = job.rows["time"].copy()
    job.rows["time"][points] = job.rows["time"][points[0]] + gone.astype("timedelta64[s]")
    job.rows["code"] = job.rows["code"].astype(object)
    job.rows["code"][points] = codes or ["KERB"] * count
    return job


def told(job: Simulation, folder: Path) -> list[str]:
    return [one for one in record_of(job.write(folder))["notes"] if "readings of its code" in one]


def kerb(count: int = 40, step: float = 5.0) -> Ways:
    """Along a bend."""
    at = step * np.arange(count)
    return np.column_stack([200.0 * np.sin(at / 200.0), 200.0 * (1.0 - np.cos(at / 200.0))])


@pytest.mark.parametrize("aside", [(100.0, 0.0), (0.0, -80.0), (300.0, 300.0)])
def test_a_reading_far_aside_is_noted(aside: tuple[float, float], tmp_path: Path) -> None:
    way = kerb()
    way[17] += aside
    (note,) = told(day(way), tmp_path)
    assert "rover001.csv:22: this reading lies" in note  # behind the heading, a tie and two checks


def test_each_run_has_its_own_step(tmp_path: Path) -> None:
    """Trees stand far apart, and a kerb beside them is measured metre by metre."""
    trees = np.random.default_rng(2).uniform(-300.0, 300.0, (20, 2))
    line = kerb(20, 1.0)
    line[8] += (60.0, 0.0)
    (note,) = told(day(np.vstack([trees, line]), codes=["TREE"] * 20 + ["KERB"] * 20), tmp_path)
    assert "rover001.csv:33:" in note


def sides(_: np.random.Generator) -> Ways:
    """Both sides of a road by turns."""
    way = kerb()
    way[1::2] += (0.0, 30.0)
    return way


def crossed(_: np.random.Generator) -> Ways:
    """One side, and once the other side of a road."""
    way = kerb(step=1.0)
    way[20] += (0.0, 14.0)
    return way


def zigzag(drawn: np.random.Generator) -> Ways:
    """Cross sections: ten readings to and fro."""
    along, across = np.divmod(np.arange(60), 10)
    way = np.column_stack([along * 20.0, np.where(along % 2 == 0, across, 9 - across) * 3.0])
    return np.asarray(way + drawn.normal(0.0, 0.1, (60, 2)))


def walk(drawn: np.random.Generator) -> Ways:
    return np.asarray(np.cumsum(drawn.normal(0.0, 6.0, (60, 2)), axis=0))


def scattered(drawn: np.random.Generator) -> Ways:
    return np.asarray(drawn.uniform(-200.0, 200.0, (60, 2)))


def clusters(drawn: np.random.Generator) -> Ways:
    """Groups of things, some way apart."""
    return np.asarray(np.repeat(drawn.uniform(-200.0, 200.0, (12, 2)), 5, axis=0) + drawn.normal(0.0, 2.0, (60, 2)))


def gone_over(_: np.random.Generator) -> Ways:
    """From one kerb to another, for good."""
    way = kerb()
    way[20:] += (120.0, 0.0)
    return way


@pytest.mark.parametrize("lay_out", [sides, crossed, zigzag, walk, scattered, clusters, gone_over])
@pytest.mark.parametrize("seed", [1, 2])
def test_honest_ways_are_not_noted(lay_out: Callable[[np.random.Generator], Ways], seed: int, tmp_path: Path) -> None:
    assert told(day(lay_out(np.random.default_rng(seed))), tmp_path) == []


def test_who_had_the_time_to_go_there_went_there(tmp_path: Path) -> None:
    way, seconds = kerb(), np.full(40, 12)
    way[17] += (100.0, 0.0)
    seconds[[17, 18]] = 80
    assert told(day(way, seconds), tmp_path) == []


def test_a_reading_of_another_code_is_none_of_the_line(tmp_path: Path) -> None:
    way = kerb()
    way[17] += (100.0, 0.0)
    codes = ["KERB"] * 40
    codes[17] = "POLE"
    assert told(day(way, codes=codes), tmp_path) == []
    assert told(day(way, codes=[""] * 40), tmp_path / "none") == []
