"""Two rovers, or two jobs, in one export: a note, where the times show it and no column says whose a reading is."""

from pathlib import Path

import numpy as np
import pytest
from running import rewrite_export
from simulate import Plan, Simulation, simulate

from pipeline import run_job


def in_turn(seconds: int, apart: float, step: float = 1e-4) -> Simulation:
    """Return a day whose points two rovers measured in turn, ``apart`` and with ``step``s of so many degrees.

    Half of the points are moved to where the other one works, each a few metres from the one before.
    """
    job = simulate(Plan(sessions=1, points=40, checks=3, marks=4, seed=6))
    points = np.flatnonzero(job.rows["kind"] == "point")
    number = np.arange(len(points))
    first, drawn = job.rows["time"][points[0]], np.random.default_rng(7)
    for name, middle in (("longitude", 171.85), ("latitude", -43.70)):
        job.rows[name] = job.rows[name].copy()
        job.rows[name][points] = (
            middle
            + drawn.normal(0.0, step, len(points)).cumsum()
            + (number % 2) * (apart if name == "longitude" else 0.0)
        )
    job.rows["time"] = job.rows["time"].copy()
    job.rows["time"][points] = first + (number * seconds).astype("timedelta64[s]")
    return job


def noted(folder: Path, seconds: int, column: str = "", apart: float = 0.02, values: int = 2) -> list[str]:
    """Return what is noted of an honest day whose points two rovers measured in turn; ``apart`` is in degrees.

    A column of so many ``values`` says whose each reading is.
    """
    path = in_turn(seconds, apart).write(folder)
    if column:
        rewrite_export(folder / "rover001.csv", lambda row: row | {column: str(len(row["Point"]) % values)})
    outcome = run_job(path, dry_run=True)
    assert (outcome.exit_code, outcome.record["doubts"]) == (0, [])
    return [note for note in outcome.record["notes"] if "two rovers, two jobs or two clocks" in note]


def test_two_in_turn_are_noted(tmp_path: Path) -> None:
    (note,) = noted(tmp_path, 30)
    assert "lies 1.6 km from the one 30 s before it, and 39 times" in note


@pytest.mark.parametrize(
    ("seconds", "column", "apart"),
    [(120, "", 0.02), (30, "Rover", 0.02), (30, "Receiver serial", 0.02), (30, "Field crew", 0.02), (30, "", 0.01)],
)
def test_honest_ways_are_left_alone(seconds: int, column: str, apart: float, tmp_path: Path) -> None:
    """One who has the time to drive, a file that says whose its readings are, and two on one site."""
    assert noted(tmp_path, seconds, column, apart) == []


@pytest.mark.parametrize("column", ["Receiver", "Instrument height"])
def test_a_column_with_one_value_says_nothing_of_two(column: str, tmp_path: Path) -> None:
    """One receiver cannot leap: its clock did, or two of its jobs are in the file."""
    assert len(noted(tmp_path, 30, column, values=1)) == 1


def failing(folder: Path, job: Simulation, column: str = "") -> list[str]:
    """Return what is noted of two rovers where one check of the day fails."""
    at = list(job.rows["kind"]).index("check")
    job.displace(np.arange(len(job.rows["kind"])) == at, np.array([0.1, 0.1, 0.1]))
    path = job.write(folder)
    if column:
        rewrite_export(folder / "rover001.csv", lambda row: row | {column: str(len(row["Point"]) % 2)})
    outcome = run_job(path, dry_run=True)
    assert outcome.exit_code == 3
    return [note for note in outcome.record["notes"] if "seem to share this export" in note]


def test_two_on_one_site_are_noted_where_a_check_fails(tmp_path: Path) -> None:
    """They are 0.003 degrees apart, 241.5 m at this latitude, which nobody walks in 15 seconds, to and fro."""
    (note,) = failing(tmp_path, in_turn(15, 0.003, 2e-5))
    assert "lies 242 m from the one 15 s before it, and 39 times in all" in note and "S01-C1 fails" in note


@pytest.mark.parametrize(
    ("seconds", "apart", "step", "column"),
    [
        (60, 0.003, 2e-5, ""),
        (15, 0.0005, 2e-5, ""),
        (15, 0.0, 2e-5, ""),
        (15, 0.0, 1e-3, ""),
        (15, 0.003, 2e-5, "Rover"),
    ],
)
def test_one_rover_whose_check_fails_is_not_taken_for_two(
    seconds: int, apart: float, step: float, column: str, tmp_path: Path
) -> None:
    """Who crosses a road or a paddock, drives along, or has a column for it."""
    assert failing(tmp_path, in_turn(seconds, apart, step), column) == []


def shared(job: Simulation, folder: Path) -> list[str]:
    """Return what is noted of a job all of whose checks pass."""
    outcome = run_job(job.write(folder), dry_run=True)
    assert outcome.exit_code == 0
    return [note for note in outcome.record["notes"] if "seem to share this export" in note]


def test_a_pair_on_one_site_whose_checks_pass_is_noted(tmp_path: Path) -> None:
    (note,) = shared(in_turn(15, 0.003, 2e-5), tmp_path)
    assert "39 times" in note and "go back in time" not in note


def pasted(behind: bool, apart: float = 0.002, seconds: int = 20) -> Simulation:
    """Return a day with the rows of a second one, at the same hours, ``behind`` all others or sorted among them."""
    job = in_turn(seconds, apart, 2e-5)
    points = np.flatnonzero(job.rows["kind"] == "point")
    mine = [row for row in range(len(job.rows["kind"])) if row not in points[1::2]]
    order = np.array([*mine, *points[1::2]])
    if not behind:
        order = order[np.argsort(job.rows["time"][order], kind="stable")]
    for name, values in job.rows.items():
        job.rows[name] = values[order]
    return job


@pytest.mark.parametrize(("behind", "apart", "seconds"), [(True, 0.003, 15), (False, 0.003, 15), (True, 0.002, 20)])
def test_rows_of_another_day_are_noted(behind: bool, apart: float, seconds: int, tmp_path: Path) -> None:
    """Behind the others also where to and fro is only as fast as somebody who drives, 161 m in 20 s."""
    job = pasted(behind, apart, seconds)
    (note,) = shared(job, tmp_path)
    first = 2 + int(np.flatnonzero(np.diff(job.rows["time"]) < np.timedelta64(0))[0]) + 1 if behind else 0
    assert (f"from row {first} on they go back in time" in note) == behind


@pytest.mark.parametrize("case", ["driven", "late rows first", "sorted by name", "a base among them"])
def test_one_rover_is_not_noted(case: str, tmp_path: Path) -> None:
    """Who drives to and fro; whose rows are not in the order of time; who writes down the base between points."""
    job = in_turn(20, 0.002, 2e-5) if case == "driven" else in_turn(20, 0.0, 2e-5)
    points = np.flatnonzero(job.rows["kind"] == "point")
    if case == "a base among them":
        for name in ("longitude", "latitude"):
            job.rows[name] = job.rows[name].copy()
            job.rows[name][points[1::2]] = job.rows[name][points[0]] + 0.004
    order = {
        "late rows first": np.roll(np.arange(len(job.rows["kind"])), 20),
        "sorted by name": np.random.default_rng(3).permutation(len(job.rows["kind"])),
    }.get(case, np.arange(len(job.rows["kind"])))
    for name, values in job.rows.items():
        job.rows[name] = values[order]
    assert shared(job, tmp_path) == []
