"""Exports whose heights nobody measured: all zero, or all one number. Jobs that are flat in truth are left alone."""

from pathlib import Path

import numpy as np
import pytest
from examined import doubts_before
from first_issue import dry_once
from simulate import CENTRAL_JAVA, Plan, Simulation, simulate

PLAN = Plan(sessions=2, points=12, ties=1, checks=2, marks=3, place=CENTRAL_JAVA)


def told(job: Simulation, folder: Path) -> list[str]:
    doubts = dry_once(job.write(folder)).record["doubts"]
    found = [doubt for doubt in doubts if "one and the same number" in doubt["what"]]
    assert {doubt["kind"] for doubt in found} <= {"export-heights"}
    return [doubt["what"] for doubt in found]


@pytest.mark.parametrize("height", [0.0, -32.5])
def test_one_height_for_all_readings_is_doubted(height: float, tmp_path: Path) -> None:
    job = simulate(PLAN)
    job.rows["height"][:] = height
    (doubt,) = told(job, tmp_path)
    assert f"all heights of the export are one and the same number, {height:.3f}" in doubt


@pytest.mark.parametrize("decimals", [0, 1])
def test_one_height_among_those_of_the_marks_is_doubted(decimals: int, tmp_path: Path) -> None:
    """A text says 30.000 or 30.400: a whole number is none that was measured, and tenths are too coarse a digit."""
    job = simulate(PLAN)
    level = round(float(np.median(job.rows["height"])), 0) + (0.4 if decimals else 0.0)
    job.rows["height"] = np.full(len(job.rows["height"]), level)
    assert len(told(job, tmp_path)) == (decimals == 0)
    assert dry_once(tmp_path / "job.toml").record["verdict"] != "proven"


def test_one_session_without_heights_is_doubted_alone(tmp_path: Path) -> None:
    job = simulate(PLAN)
    name, *_ = (session["name"] for session in job.job["session"])
    end = np.datetime64(job.job["session"][0]["end"].replace(tzinfo=None))
    job.rows["height"][job.rows["time"] <= end] = 34.0
    (doubt,) = told(job, tmp_path)
    assert f"all heights of session {name} in it are one" in doubt


def test_flat_ground_that_is_measured_is_not_doubted(tmp_path: Path) -> None:
    """Still water, levelled to the noise of a fixed solution and written to the centimetre."""
    job = simulate(PLAN)
    noise = np.random.default_rng(3).normal(0.0, 0.008, len(job.rows["height"]))
    job.rows["height"][:] = np.round(31.20 + noise, 2)
    assert told(job, tmp_path) == []


@pytest.mark.parametrize(
    ("points", "decimals", "above", "doubts"),
    [
        (20, 1, 0.0, 0),  # the noise of a fixed solution does not show in decimetres
        (20, 2, 0.0, 0),  # 20 of 50 may be one centimetre by chance
        (60, 2, 0.0, 1),
        (20, 3, 0.0, 1),
        (20, 1, 60.0, 1),  # no water of this job
    ],
)
def test_what_the_digits_of_another_rover_show(
    points: int, decimals: int, above: float, doubts: int, tmp_path: Path
) -> None:
    """One height for all points of a rover, the marks' own and a digit of its decimals; the marks are another's."""
    job = simulate(Plan(sessions=1, points=points, ties=1, checks=2, marks=3, place=CENTRAL_JAVA))
    path = job.write(tmp_path)
    export = tmp_path / "rover001.csv"
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    column = heading.split(",").index("EllHt")
    on_marks = [line for line in lines if "-T" in line.split(",")[0] or "-C" in line.split(",")[0]]
    level = round(float(on_marks[0].split(",")[column]), 0) + above + 3 * 10**-decimals
    flat = [line.split(",") for line in lines if line not in on_marks]
    flat = [[*cells[:column], f"{level:.{decimals}f}", *cells[column + 1 :]] for cells in flat]
    for name, kept in (("rover001.csv", on_marks), ("rover002.csv", [",".join(cells) for cells in flat])):
        (tmp_path / name).write_text("\n".join([heading, *kept, ""]), encoding="utf-8")
    found = [text for text in doubts_before(path) if "one and the same number" in text]
    assert len(found) == doubts, found


def test_few_readings_of_one_height_are_not_doubted(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=2, ties=1, checks=2, marks=3, place=CENTRAL_JAVA))
    job.rows["height"][:] = 12.5
    assert told(job, tmp_path) == []
