"""A coordinate that a spreadsheet copied down its column: it is the same to the last digit, all else changes."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from running import record_of
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.issue.record_types import Record

COPIED = "as where a spreadsheet copied a cell down its column"


def day() -> Simulation:
    return simulate(Plan(sessions=1, points=40, checks=3, place=ELLIPSOIDAL))


def doubts(record: Record) -> list[str]:
    return [doubt["what"] for doubt in record["doubts"] if COPIED in doubt["what"]]


def notes(record: Record) -> list[str]:
    return [note for note in record["notes"] if COPIED in note and note not in doubts(record)]


@pytest.mark.parametrize(("column", "rows"), [("latitude", 4), ("longitude", 6)])
def test_one_plan_coordinate_copied_down_takes_the_proof_away(column: str, rows: int, tmp_path: Path) -> None:
    job = day()
    job.rows[column][10 : 10 + rows] = job.rows[column][10]
    record = record_of(job.write(tmp_path), 3)
    (doubt,) = doubts(record)
    assert doubt.startswith(f"rover001.csv:12: {rows} rows in a row (to row {11 + rows}) have one {column}")


@pytest.mark.parametrize("step", [0.0, 1.0])
def test_heights_copied_down_are_noted(step: float, tmp_path: Path) -> None:
    job = day()
    job.rows["height"][10:16] = np.round(job.rows["height"][10], 4) + step * np.arange(6)
    record = record_of(job.write(tmp_path))
    assert not doubts(record)
    (note,) = notes(record)
    assert note.startswith("rover001.csv:12: 6 rows in a row (to row 17)")


def test_a_latitude_that_rises_by_one_step_is_noted(tmp_path: Path) -> None:
    job = day()
    job.rows["latitude"][10:16] = job.rows["latitude"][10] + 1e-5 * np.arange(6)
    record = record_of(job.write(tmp_path))
    assert not doubts(record)
    (note,) = notes(record)
    assert "in latitude by exactly one step" in note


def along_parallels(job: Simulation) -> None:
    """Points in lines along parallels, as a job written by hand has them."""
    points = job.rows["kind"] == "point"
    job.rows["latitude"][points] = np.repeat(job.rows["latitude"][points][::8], 8)


def on_water(job: Simulation) -> None:
    points = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["height"][points[5:]] = np.round(job.rows["height"][points[0]], 3)


def round_degrees(job: Simulation) -> None:
    job.rows["latitude"][10:16] = np.round(job.rows["latitude"][10], 4)


def two_rows(job: Simulation) -> None:
    job.rows["latitude"][11] = job.rows["latitude"][10]


@pytest.mark.parametrize("change", [along_parallels, on_water, round_degrees, two_rows])
def test_coordinates_that_repeat_otherwise_are_not_told(change: Callable[[Simulation], None], tmp_path: Path) -> None:
    job = day()
    change(job)
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert not doubts(record)
    assert not notes(record)
