"""Marks and points left the controller by two exports: in metres and feet, or above the ellipsoid and above the geoid.

The marks agree with the register, so no check shows what is wrong with every point.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from simulate import CENTRAL_JAVA, Plan, Simulation, simulate

from pipeline import run_job

#: Undulating ground of a site some hundred metres wide; central Java's geoid lies 25 m above the ellipsoid.
SITE = Plan(sessions=1, points=40, ties=1, checks=2, marks=4, place=CENTRAL_JAVA, reach=150.0, noise=False, seed=5)
SEPARATION, FOOT = 25.0, 0.3048
#: What a note says of them, whether it names the marks or two levels.
LOOKS = "the geoid separation is"


def told(job: Simulation, folder: Path) -> tuple[list[str], list[str]]:
    """Return the kinds of doubt about the heights of points and marks, and what is noted of them without doubt."""
    record = run_job(job.write(folder), dry_run=True).record
    doubts = [doubt["kind"] for doubt in record["doubts"]]
    return doubts, [note for note in record["notes"] if LOOKS in note and "stay unproven" not in note]


def points(job: Simulation) -> np.ndarray:
    return np.asarray(job.rows["kind"] == "point")


def test_points_in_feet_are_in_doubt(tmp_path: Path) -> None:
    job = simulate(SITE)
    job.rows["height"] = np.where(points(job), job.rows["height"] / FOOT, job.rows["height"])
    assert told(job, tmp_path) == (["units"], [])


def test_points_above_the_geoid_are_in_doubt_where_marks_are_hard_by(tmp_path: Path) -> None:
    job = simulate(SITE)
    job.rows["height"] = job.rows["height"] - SEPARATION * points(job)
    assert told(job, tmp_path) == (["export-heights"], [])


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_geoid_may_lie_above_or_below_the_ellipsoid(sign: float, tmp_path: Path) -> None:
    """Two points between both levels, so that it is the marks alone by which it is told."""
    assert CENTRAL_JAVA.geoid is not None
    data, geoid = CENTRAL_JAVA.geoid.read_bytes(), tmp_path / "geoid.gtx"
    geoid.write_bytes(data[:40] + (sign * np.frombuffer(data[40:], ">f4")).astype(">f4").tobytes())  # behind its header
    job = simulate(replace(SITE, place=replace(CENTRAL_JAVA, geoid=geoid)))
    every = np.flatnonzero(points(job))
    job.rows["height"][every] -= sign * SEPARATION
    job.rows["height"][every[[5, 15]]] += sign * np.array([8.0, 16.0])
    assert told(job, tmp_path / "job") == (["export-heights"], [])


@pytest.mark.parametrize("by", [11.0, 18.0, -35.0])
def test_marks_on_a_hill_are_quiet(by: float, tmp_path: Path) -> None:
    """The marks stand on what rises over the work by another height than the separation, or below it."""
    job = simulate(SITE)
    job.rows["height"] = job.rows["height"] - by * points(job)
    assert told(job, tmp_path) == ([], [])


def test_marks_as_far_above_all_work_as_the_separation_are_noted(tmp_path: Path) -> None:
    """No mark is as near as it is high: a hill may be so, and a word will do."""
    job = simulate(SITE)
    rows = points(job)
    job.rows["height"][rows] = 45.1 - SEPARATION + 0.2 * np.sin(np.arange(np.count_nonzero(rows)))
    job.rows["longitude"] = job.rows["longitude"] + np.where(rows, 0.0028, 0.0)
    doubts, notes = told(job, tmp_path)
    assert doubts == [] and len(notes) == 1 and "+2" in notes[0]


@pytest.mark.parametrize("count", [1, 2])
def test_few_rows_above_the_geoid_are_noted(count: int, tmp_path: Path) -> None:
    job = simulate(SITE)
    every = np.flatnonzero(points(job))
    rows = every[20 : 20 + count]
    job.rows["longitude"][every] = job.rows["longitude"][every[0]] + 0.0001 * np.arange(len(every))  # 11 m apart
    job.rows["latitude"][every] = job.rows["latitude"][every[0]]
    job.rows["height"][every] = 45.0 + 0.02 * np.arange(len(every))
    job.rows["height"][rows] -= SEPARATION
    job.rows["code"] = np.where(points(job), "GND", job.rows["code"])
    record = run_job(job.write(tmp_path), dry_run=True).record
    (note,) = (note for note in record["notes"] if "in a row" in note)
    assert f"{count} reading" in note and "the geoid separation of +2" in note and record["doubts"] == []
