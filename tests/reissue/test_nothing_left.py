"""Re-issues from and to jobs of which something is not there at all: no program may stumble over what is empty."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from first_issue import run_once
from simulate import Plan, Simulation, simulate

from pipeline import run_job


def job() -> Simulation:
    return simulate(Plan(sessions=1, points=8, ties=1, checks=3, marks=5))


def as_it_is(job: Simulation) -> None:
    """Leave everything as it is."""


def without_points(job: Simulation) -> None:
    job.keep(job.rows["kind"] != "point")


def without_occupations(job: Simulation) -> None:
    job.keep(job.rows["kind"] == "point")
    for session in job.job["session"]:
        session["ties"], session["checks"] = [], []


def all_held_back(job: Simulation) -> None:
    is_point = job.rows["kind"] == "point"
    job.rows["time"] = np.where(is_point, job.rows["time"] + np.timedelta64(3, "D"), job.rows["time"])


def all_of_other_names(job: Simulation) -> None:
    is_point = job.rows["kind"] == "point"
    job.rows["name"] = np.where(is_point, np.char.add("N", job.rows["name"].astype(str)), job.rows["name"])


def without_names(job: Simulation) -> None:
    job.rows["name"] = np.where(job.rows["kind"] == "point", "", job.rows["name"])


def all_corrected_in_the_field(job: Simulation) -> None:
    for number, session in enumerate(job.job["session"]):
        job.correct_in_field(number, session["start"], 1.2, -0.7, 2.3)
        session["field_shift"] = {"from": session["start"], "east": 1.2, "north": -0.7, "up": 2.3}


def all_of_two_readings(job: Simulation) -> None:
    """Let each two points be readings of one, which is issued as their mean."""
    rows = np.flatnonzero(job.rows["kind"] == "point")
    for axis in ("name", "longitude", "latitude"):
        job.rows[axis][rows[1::2]] = job.rows[axis][rows[::2]]
    job.rows["height"][rows[1::2]] = job.rows["height"][rows[::2]] + 0.004
    job.job["issue"] = {"repeats": "mean"}


EVERY = (
    as_it_is,
    without_points,
    without_occupations,
    all_held_back,
    all_of_other_names,
    without_names,
    all_corrected_in_the_field,
    all_of_two_readings,
)


@pytest.mark.parametrize("before", EVERY)
def test_a_job_of_which_something_is_empty_is_issued_again(
    before: Callable[[Simulation], None], tmp_path: Path
) -> None:
    for number, after in enumerate((as_it_is, without_points, all_of_other_names)):
        folder = tmp_path / str(number)
        for change, run in ((before, run_once), (after, run_job)):
            made = job()
            change(made)
            outcome = run(made.write(folder))
            assert outcome.exit_code in (0, 3), after.__name__
