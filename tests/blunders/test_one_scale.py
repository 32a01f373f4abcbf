"""A register in ground distances is named as one scale, and nothing else is."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from simulate import Plan, Simulation, simulate

from pipeline import run_job

#: Combined scale factors of ground distances are within these of 1: 30 ppm by the sea, 250 ppm at 1,600 m.
SCALES = (-120e-6, 60e-6, 250e-6)


def surveyed(seed: int, sessions: int = 1, marks: int = 5) -> Simulation:
    return simulate(Plan(sessions=sessions, points=12, ties=1, checks=marks - 1, marks=marks, reach=1500.0, seed=seed))


def scaled(job: Simulation, scale: float, about: str | None) -> None:
    """Write the register in distances that are all larger by a part, about a mark or about the origin."""
    plan = np.column_stack([np.asarray(job.register[name], float) for name in ("easting", "northing")])
    point = np.zeros(2) if about is None else plan[list(job.register["mark"]).index(about)]
    for axis, name in enumerate(("easting", "northing")):
        job.register[name] = np.round(point[axis] + (plan[:, axis] - point[axis]) * (1.0 + scale), 3)


def first(job: Simulation, folder: Path) -> list[dict[str, Any]]:
    record = run_job(job.write(folder), dry_run=True).record
    return [one["explanations"][0] for one in record["diagnoses"] if one["explanations"]]


@pytest.mark.parametrize("about", ["CM1", "CM3", None])
@pytest.mark.parametrize("scale", SCALES)
def test_a_register_on_the_ground_is_told_as_one_scale(scale: float, about: str | None, tmp_path: Path) -> None:
    """The scale is told to some parts per million: 15 mm over 1,500 m."""
    job = surveyed(3, sessions=2)
    scaled(job, scale, about)
    told = first(job, tmp_path)
    assert told
    for one in told:
        assert one["kind"] == "one scale"
        ppm, way = one["text"].split(" ppm ")[0].split()[-1], "longer" if scale > 0.0 else "shorter"
        assert abs(float(ppm) - abs(scale) * 1e6) < 15.0
        assert f" ppm {way} than the grid's" in one["text"] and not one["chance"]
        assert ("about the origin" in one["text"]) == (about is None)


@pytest.mark.parametrize("seed", range(6))
def test_one_mark_that_is_off_is_no_scale(seed: int, tmp_path: Path) -> None:
    job = surveyed(seed)
    job.mistype(f"CM{1 + seed % 5}", ("easting", "northing")[seed % 2], 0.137)
    assert all(one["kind"] != "one scale" for one in every(first(job, tmp_path)))


def test_two_marks_agree_with_any_scale_and_are_told_of_none(tmp_path: Path) -> None:
    job = surveyed(4, marks=2)
    scaled(job, 200e-6, "CM1")
    record = run_job(job.write(tmp_path), dry_run=True).record
    kinds = {one["kind"] for each in record["diagnoses"] for one in each["explanations"]}
    assert kinds and "one scale" not in kinds


def test_marks_that_are_off_each_by_itself_are_no_scale(tmp_path: Path) -> None:
    job = surveyed(5)
    for mark, (east, north) in {"CM2": (0.12, -0.1), "CM3": (-0.15, -0.11), "CM4": (0.1, 0.16)}.items():
        job.mistype(mark, "easting", east)
        job.mistype(mark, "northing", north)
    assert all(one["kind"] != "one scale" for one in every(first(job, tmp_path)))
