"""A session left open over a night: points of the other day hang on a base that nobody saw through the night.

Truth is simulated: the base is set up again in the morning, and no mark is occupied after that.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.replace import replace

ONE_DAY = Plan(sessions=1, points=40, checks=3, noise=False)


def later(job: Simulation, hours: float, share: float) -> int:
    """Move the last part of the session's readings by hours, and its end with them; return how many points moved."""
    begin = np.quantile(job.rows["time"].astype("int64"), 1 - share)
    moved = job.rows["time"].astype("int64") >= begin
    job.rows["time"] = job.rows["time"] + np.where(moved, round(hours * 3_600_000), 0).astype("timedelta64[ms]")
    job.job["session"][0]["end"] += dt.timedelta(hours=hours)
    return int(np.count_nonzero(moved & (job.rows["kind"] == "point")))


def without(job: Simulation, names: list[str]) -> None:
    """Leave out readings, and the checks on them."""
    session = job.job["session"][0]
    session["checks"] = [one for one in session["checks"] if one["point"] not in names]
    job.keep(~np.isin(job.rows["name"], names))


def closing(job: Simulation) -> list[str]:
    rows = job.rows
    after = rows["time"] > rows["time"][rows["kind"] == "point"].max()
    return [str(name) for name in rows["name"][after & (rows["kind"] == "check")]]


def notes(job: Simulation, folder: Path) -> list[str]:
    """Return what is told; wherever it is, no occupation closes those points, so that they are not proven anyhow."""
    record = run_job(job.write(folder), dry_run=True).record
    told = [note for note in record["notes"] if "stood untouched" in note]
    assert not told or record["verdict"] == "unclosed"
    return told


@pytest.mark.parametrize("up", [0.0, 1.1])
def test_points_of_the_next_day_without_a_mark_are_told(up: float, tmp_path: Path) -> None:
    job = simulate(ONE_DAY)
    without(job, closing(job))
    if up:
        job.knock_base(0, part=0.5, up=up)
    moved = later(job, 14.0, 0.4)
    (note,) = notes(job, tmp_path)
    times = np.sort(job.rows["time"])
    at = int(np.argmax(np.diff(times)))
    since, until = (str(time).replace("T", " ")[:16] for time in times[at : at + 2])
    assert note.startswith("session session-01: no reading for 14.")
    assert f"from {since}" in note and f" to {until}" in note and f"; {moved} points after that hang on it" in note


def test_points_of_the_day_before_the_marks_are_told(tmp_path: Path) -> None:
    """The crew measured on, and tied the base in the morning."""
    job = simulate(ONE_DAY)
    session = job.job["session"][0]
    on_marks = job.rows["kind"] != "point"
    job.rows["time"] = job.rows["time"] + np.where(on_marks, 20 * 3_600_000, 0).astype("timedelta64[ms]")
    session["end"] += dt.timedelta(hours=20)
    (note,) = notes(job, tmp_path)
    assert "; 40 points before that hang on it" in note


@pytest.mark.parametrize("hours", [14.0, 64.0])
def test_a_check_after_the_night_says_it_itself(hours: float, tmp_path: Path) -> None:
    job = simulate(ONE_DAY)
    later(job, hours, 0.4)
    assert notes(job, tmp_path) == []


def test_a_lunch_or_a_wait_for_the_tide_is_none(tmp_path: Path) -> None:
    job = simulate(ONE_DAY)
    without(job, closing(job))
    later(job, 5.0, 0.4)
    assert notes(job, tmp_path) == []


@pytest.mark.parametrize("seed", range(4))
def test_sessions_of_a_day_each_are_let_be(seed: int, tmp_path: Path) -> None:
    job = simulate(replace(ONE_DAY, sessions=3, seed=seed, noise=True))
    assert notes(job, tmp_path) == []


def test_corrections_of_a_network_have_no_base_that_could_move(tmp_path: Path) -> None:
    job = simulate(replace(ONE_DAY, base_horizontal=0.0, base_vertical=0.0))
    without(job, closing(job))
    session = job.job["session"][0]
    session["checks"] = session.pop("ties") + session["checks"]
    session["shift"] = "none"
    later(job, 14.0, 0.4)
    assert notes(job, tmp_path) == []
