"""Points of an issue that are control in another folder, without history: their own day is not proven by them.

Truth is simulated. The scatter of the readings is many times the last digit of a mark.
"""

from pathlib import Path

import numpy as np
import pytest
from running import record_of
from second_issues import rows_of
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.issue.record_types import Record

#: Points that become marks: early and late in the day, so that they open and close it.
COPIED = {"S01-00001": "NB1", "S01-00006": "NB2", "S01-00012": "NB3"}


def day(*, noise: bool = True, seed: int = 8) -> Simulation:
    """Return a job of a day by two bases; the first is to be tied to one mark alone, 0.8 m wrong."""
    job = simulate(Plan(sessions=2, points=12, checks=4, marks=6, noise=noise, place=ELLIPSOIDAL, seed=seed))
    job.rows["code"] = np.array(["GL"] * len(job.rows["code"]))
    return job


def circular(folder: Path, *, noise: bool = True, seed: int = 8, columns: bool = False, own: bool = True) -> Simulation:
    """Return that job with control from an issue of another folder, in which CM1 was wrong.

    Args:
        folder: where the first issue goes.
        noise: whether the day was measured.
        seed: of the simulation.
        columns: whether the register keeps the issue's columns.
        own: whether the points of the first session check it; else those of the same readings are not listed.
    """
    first = day(noise=noise, seed=seed)
    first.mistype("CM1", "easting", 0.8)
    first.job["session"][0]["checks"] = []
    first.keep((first.rows["kind"] != "check") | (first.rows["session"] != 0))
    issue = run_job(first.write(folder / "first"))
    assert issue.folder is not None
    known = {row["name"]: row for row in rows_of(issue.folder, "points")}
    values = {axis: [round(known[name][axis], 3) for name in COPIED] for axis in ("easting", "northing", "height")}
    values |= {"mark": [*COPIED.values()], "ellipsoid_height": values["height"], "hu95": [0.01] * 3, "vu95": [0.02] * 3}
    job = first
    for column, had in job.register.items():
        job.register[column] = np.array([*had.tolist(), *values[column]], had.dtype)
    if columns:
        for column in ("session", "observed", "source_file", "source_row"):
            cells = [str(known[name][column]) for name in COPIED]
            job.register[column] = np.array([""] * (len(job.register["mark"]) - 3) + cells, object)
    if own:
        job.job["session"][0]["checks"] = [{"point": name, "mark": mark} for name, mark in COPIED.items()]
    return job


def told(record: Record) -> list[str]:
    return [one["what"] for one in record["doubts"] if "its own readings" in one["what"]]


def noted(record: Record) -> list[str]:
    return [one for one in record["notes"] if "its own readings" in one]


@pytest.mark.parametrize("seed", [8, 9, 10])
@pytest.mark.parametrize("tied", [True, False])
def test_a_day_checked_by_its_own_points_is_not_proven(seed: int, tied: bool, tmp_path: Path) -> None:
    """By the mark that tied it before, or by one of its points; the other session scatters as it states."""
    job = circular(tmp_path, seed=seed)
    session = job.job["session"][0]
    if not tied:
        session["ties"], session["checks"] = session["checks"][:1], session["checks"][1:]
    record = record_of(job.write(tmp_path / "other"), 3)
    (what,) = told(record)
    assert "session-01" in what and "'NB2'" in what
    assert {one["session"]: one["verdict"] for one in record["sessions"]}["session-01"] != "proven"


def test_it_is_noted_where_two_other_marks_prove_the_session(tmp_path: Path) -> None:
    job = circular(tmp_path)
    other = day()
    late = (other.rows["session"] == 0) & (other.rows["kind"] == "check")
    job.rows = {name: np.concatenate([values, other.rows[name][late]]) for name, values in job.rows.items()}
    job.mistype("CM1", "easting", -0.8)
    for mark in COPIED.values():
        job.mistype(mark, "easting", -0.8)
    job.job["session"][0]["checks"] += other.job["session"][0]["checks"]
    record = record_of(job.write(tmp_path / "other"))
    assert told(record) == [] and len(noted(record)) == 1


@pytest.mark.parametrize("noise", [True, False])
def test_rows_with_the_columns_of_an_issue_say_when_they_were_observed(noise: bool, tmp_path: Path) -> None:
    """Without noise too: the register itself says so."""
    record = record_of(circular(tmp_path, noise=noise, columns=True).write(tmp_path / "other"), 3)
    (what,) = told(record)
    assert "'NB1'" in what and "observed 20" in what


def test_computed_days_are_left_alone(tmp_path: Path) -> None:
    record = record_of(circular(tmp_path, noise=False).write(tmp_path / "other"))
    assert told(record) == noted(record) == []


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("noise", [True, False])
def test_honest_days_are_left_alone(seed: int, noise: bool, tmp_path: Path) -> None:
    plans = [
        Plan(sessions=4, points=8, ties=1, checks=6, marks=8, seed=seed, noise=noise),
        Plan(sessions=3, points=8, ties=3, checks=6, marks=8, seed=seed, noise=noise, temporary=True),
    ]
    for number, plan in enumerate(plans):
        job = simulate(plan)
        for column in ("easting", "northing", "height"):
            job.register[column] = np.round(job.register[column].astype(float), 3)
        record = record_of(job.write(tmp_path / str(number)))
        assert told(record) == noted(record) == []


@pytest.mark.parametrize("off", [0.012, 0.02])
def test_a_computed_day_whose_base_moved_or_drifts_is_left_alone(off: float, tmp_path: Path) -> None:
    """What scatters then has one direction."""
    moved = simulate(Plan(sessions=1, ties=1, checks=8, marks=6, noise=False))
    moved.knock_base(0, 0.5, east=off, up=off)
    drifting = simulate(Plan(sessions=1, ties=1, checks=8, marks=6, noise=False))
    for part in np.arange(0.5, 1.0, 0.05).tolist():
        drifting.knock_base(0, part, east=off / 10, north=off / 20, up=-off / 10)
    for number, job in enumerate((moved, drifting)):
        record = run_job(job.write(tmp_path / str(number)), dry_run=True).record
        assert told(record) == noted(record) == []
