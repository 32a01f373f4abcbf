"""Cells of a column moved by a row take the proof away, also where all that was observed on marks is as it was."""

from pathlib import Path

import numpy as np
import pytest
from running import record_of
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

TOLD = "moved back by a row, their heights fit the ground far better"


def hilly(seed: int) -> Simulation:
    """A walk of some metres from point to point over hills, with a reading's noise on it."""
    job = simulate(Plan(sessions=1, points=120, checks=3, place=ELLIPSOIDAL, seed=seed))
    random, rows = np.random.default_rng(seed), job.rows
    at = np.flatnonzero(rows["kind"] == "point")
    east, north = np.cumsum(random.normal(0.0, 7.0, (2, len(at))), axis=1)
    metre = 1.0 / 111_195.0
    rows["latitude"][at] = rows["latitude"][at[0]] + north * metre
    rows["longitude"][at] = rows["longitude"][at[0]] + east * metre / np.cos(np.radians(rows["latitude"][at[0]]))
    up = 12.0 * np.sin(east / 37.0) * np.cos(north / 29.0) + random.normal(0.0, 0.02, len(at))
    rows["height"][at] = rows["height"][at[0]] + up
    return job


@pytest.mark.parametrize("seed", [1, 2])
def test_heights_moved_by_a_row_are_a_doubt(seed: int, tmp_path: Path) -> None:
    job = hilly(seed)
    at = np.flatnonzero(job.rows["kind"] == "point")[40:80]
    job.rows["height"][at[1:]] = job.rows["height"][at[:-1]].copy()
    record = record_of(job.write(tmp_path), code=3)
    (doubt,) = record["doubts"]
    assert (doubt["kind"], doubt["sessions"]) == ("export-heights", ["session-01"]) and TOLD in doubt["what"]
    assert record["verdict"] == "unchecked" and all(check["passed"] for check in record["checks"])


def test_fewer_rows_are_noted(tmp_path: Path) -> None:
    """A wrong height or two on even ground may look like it."""
    job = hilly(1)
    at = np.flatnonzero(job.rows["kind"] == "point")[40:49]
    job.rows["height"][at[1:]] = job.rows["height"][at[:-1]].copy()
    record = record_of(job.write(tmp_path))
    assert [note for note in record["notes"] if TOLD in note] and record["doubts"] == []


@pytest.mark.parametrize("seed", [1, 2])
def test_the_day_as_it_was_is_proven(seed: int, tmp_path: Path) -> None:
    record = record_of(hilly(seed).write(tmp_path))
    assert record["verdict"] == "proven" and record["doubts"] == []
