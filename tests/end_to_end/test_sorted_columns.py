"""One column of an export was sorted alone in a spreadsheet: times, names and all other columns stand as they were."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from running import record_of
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.arrays import Floats
from pipeline.issue.record_types import Record

SORTED = "as where that column alone was sorted in a spreadsheet"
COUNT = 80
#: Metres along a meridian in one degree, near enough.
DEGREE = 111_000.0


def day(east: Floats, north: Floats, up: Floats) -> tuple[Simulation, NDArray[np.int64]]:
    """Return a day whose points lie at (80,) metres from its first one, and their rows, in the order of their times."""
    job = simulate(Plan(sessions=1, points=COUNT, checks=3, place=ELLIPSOIDAL))
    points = np.flatnonzero(job.rows["kind"] == "point")
    points = points[np.argsort(job.rows["time"][points], kind="stable")]
    rows = job.rows
    latitude, longitude, height = (float(rows[name][points[0]]) for name in ("latitude", "longitude", "height"))
    rows["latitude"][points] = latitude + north / DEGREE
    rows["longitude"][points] = longitude + east / DEGREE / np.cos(np.radians(latitude))
    rows["height"][points] = height + up
    return job, points


def noise(seed: int = 5) -> Floats:
    return np.random.default_rng(seed).normal(0.0, 0.01, (3, COUNT))


def around_a_field() -> tuple[Simulation, NDArray[np.int64]]:
    """Return a day that went over a field in four wide rounds, on ground that falls to the north-east."""
    turn = np.linspace(0.0, 8.0 * np.pi, COUNT) + noise(1)[0] * 20.0
    out = 60.0 + 15.0 * np.sin(1.7 * turn)
    east, north = out * np.cos(turn), out * np.sin(turn)
    return day(east, north, -0.03 * east - 0.02 * north + noise()[2])


def told(record: Record) -> list[str]:
    return [note for note in record["notes"] if SORTED in note]


@pytest.mark.parametrize("column", ["latitude", "longitude", "height"])
@pytest.mark.parametrize("descending", [False, True])
def test_a_column_that_was_sorted_alone_is_told(column: str, descending: bool, tmp_path: Path) -> None:
    job, points = around_a_field()
    values = np.sort(job.rows[column][points])
    job.rows[column][points] = values[::-1] if descending else values
    record = record_of(job.write(tmp_path))
    assert not record["doubts"]
    (note,) = told(record)
    way = "fall" if descending else "rise"
    assert f"80 rows in the order of their times (to row {points[-1] + 2}) {way} in {column} from each" in note
    assert note.startswith(f"rover001.csv:{points[0] + 2}: ")


def as_measured() -> Simulation:
    return around_a_field()[0]


def all_rows_by_latitude() -> Simulation:
    """A whole export in the order of its latitudes: each row kept what it has."""
    job, _ = around_a_field()
    order = np.argsort(job.rows["latitude"])
    job.rows = {name: values[order] for name, values in job.rows.items()}
    return job


def down_a_slope() -> Simulation:
    """A path straight down a slope, at any distances."""
    along = np.cumsum(np.random.default_rng(2).exponential(6.0, COUNT) + 0.5)
    return day(0.6 * along, 0.8 * along, -0.1 * along)[0]


def river_bank() -> Simulation:
    along = np.cumsum(np.random.default_rng(3).exponential(6.0, COUNT) + 0.5)
    return day(along, 40.0 * np.sin(along / 60.0), -0.002 * along + noise()[2])[0]


def both_edges() -> Simulation:
    """A road of 12 m whose edges were measured in turn, three metres on each time."""
    along = np.arange(0.0, 3.0 * COUNT, 3.0)
    return day(along + noise()[0], np.where(np.arange(COUNT) % 2, 6.0, -6.0) + noise()[1], -0.02 * along)[0]


def cross_sections() -> Simulation:
    """Sections of five points every 10 m, of which every other one was measured from the other side."""
    section, place = np.divmod(np.arange(COUNT), 5)
    across = np.where(section % 2, 4 - place, place) * 4.0
    return day(10.0 * section + noise()[0], across + noise()[1], 0.05 * section + noise()[2])[0]


def hairpins() -> Simulation:
    """A road that climbs evenly in hairpins of ten points to a leg, the legs 6 m apart."""
    leg, place = np.divmod(np.arange(COUNT), 10)
    along = np.where(leg % 2, 9 - place, place) * 8.0
    return day(along + noise()[0], 6.0 * leg + 0.3 * place, 0.6 * np.arange(COUNT) + noise()[2])[0]


def ramp() -> Simulation:
    """A ramp that winds up in rounds of twenty points, 3 m higher each."""
    turn = np.arange(COUNT) * np.pi / 10.0
    return day(20.0 * np.cos(turn), 20.0 * np.sin(turn), 0.15 * np.arange(COUNT) + noise()[2])[0]


def level_field() -> Simulation:
    turn = np.linspace(0.0, 8.0 * np.pi, COUNT)
    return day(60.0 * np.cos(turn), 60.0 * np.sin(1.3 * turn), np.zeros(COUNT))[0]


HONEST = [as_measured, all_rows_by_latitude, down_a_slope, river_bank, both_edges, cross_sections, hairpins, ramp,
          level_field]  # fmt: skip


@pytest.mark.parametrize("job", HONEST)
def test_a_way_that_leads_on_in_one_direction_is_not_told(job: Callable[[], Simulation], tmp_path: Path) -> None:
    assert not told(run_job(job().write(tmp_path), dry_run=True).record)
