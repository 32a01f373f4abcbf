"""A network adjusted again moves its marks alike; one that was left out stays, and what is tied there with it."""

from pathlib import Path

import numpy as np
import pytest
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.replace import replace

PLAN = Plan(sessions=3, points=10, ties=1, checks=3, marks=5, noise=False, reach=800.0)


def move(job: Simulation, marks: list[str], by: tuple[float, float, float]) -> None:
    height = "height" if "height" in job.register else "ellipsoid_height"
    for mark in marks:
        for axis, metres in zip(("easting", "northing", height), by, strict=True):
            job.mistype(mark, axis, metres)


def told(job: Simulation, folder: Path) -> list[str]:
    return [one for one in run_job(job.write(folder)).record["notes"] if "among them did not" in one]


@pytest.mark.parametrize("place", [PLAN.place, ELLIPSOIDAL], ids=["height", "ellipsoid"])
@pytest.mark.parametrize(
    ("by", "said"),
    [
        ((0.014, -0.009, 0.012), "one vector (east +0.014, north -0.009 m) and one step in height (+0.012 m), and"),
        ((0.0, 0.0, 0.034), "by one step in height (+0.034 m), and"),
        ((0.014, -0.009, 0.0), "by one vector (east +0.014, north -0.009 m), and"),
    ],
)
def test_a_mark_that_was_left_out_is_named(
    by: tuple[float, float, float], said: str, place: object, tmp_path: Path
) -> None:
    job = simulate(replace(PLAN, place=place))
    assert told(job, tmp_path) == []
    move(job, ["CM1", "CM2", "CM4", "CM5"], by)
    (note,) = told(job, tmp_path)
    assert note.startswith("since issue 001 4 marks that the job uses moved in the register by ")
    assert said in note and "mark CM3 among them did not" in note


@pytest.mark.parametrize(
    "marks",
    [["CM1", "CM2", "CM3", "CM4", "CM5"], ["CM1", "CM2"], ["CM3"], []],
    ids=["all", "two", "one", "none"],
)
def test_all_and_few_are_no_network_with_a_gap(marks: list[str], tmp_path: Path) -> None:
    job = simulate(PLAN)
    told(job, tmp_path)
    move(job, marks, (0.014, -0.009, 0.012))
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])
    assert told(job, tmp_path) == []


@pytest.mark.parametrize("seed", range(3))
def test_marks_revised_each_by_its_own_are_none(seed: int, tmp_path: Path) -> None:
    job = simulate(PLAN)
    told(job, tmp_path)
    rng = np.random.default_rng(seed)
    for mark in ("CM1", "CM2", "CM4", "CM5"):
        move(job, [mark], tuple(rng.normal(0, 0.008, 3).round(4).tolist()))
    assert told(job, tmp_path) == []


def test_the_last_digit_of_heights_alone_is_none(tmp_path: Path) -> None:
    job = simulate(PLAN)
    told(job, tmp_path)
    move(job, ["CM1", "CM2", "CM4", "CM5"], (0.0, 0.001, 0.001))
    assert told(job, tmp_path) == []
