"""Planted blunders are read for what they are, and a session whose base moved can be split as the record says."""

import csv
from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, Simulation, simulate

from pipeline import run_job

PLAN = Plan(sessions=2, points=30, ties=1, checks=3, marks=4, seed=11)


def first_kind(path: Path) -> str:
    outcome = run_job(path, dry_run=True)
    (diagnosis,) = [one for one in outcome.record["diagnoses"] if one["readings"]][:1]
    return str(diagnosis["readings"][0]["kind"])


def check_mark(job: Simulation) -> str:
    """A mark that checks the first session and ties none."""
    ties = {tie["mark"] for session in job.job["session"] for tie in session["ties"]}
    checks = [check["mark"] for session in job.job["session"] for check in session["checks"]]
    return next(mark for mark in checks if mark not in ties)


def retype(folder: Path, mark: str, column: str, text: str | None, change: float = 0.0) -> None:
    with (folder / "register.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        if row["mark"] == mark:
            row[column] = text if text is not None else f"{float(row[column]) + change:.5f}"
    with (folder / "register.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def written(folder: Path, mark: str, column: str) -> str:
    with (folder / "register.csv").open(newline="", encoding="utf-8") as file:
        return next(row[column] for row in csv.DictReader(file) if row["mark"] == mark)


def test_two_digits_swapped_in_a_check_marks_easting(tmp_path: Path) -> None:
    job = simulate(PLAN)
    path = job.write(tmp_path)
    text = written(tmp_path, check_mark(job), "easting")
    places = range(text.index(".") - 2, len(text) - 2)
    pairs = [n for n in places if text[n].isdigit() and text[n + 1].isdigit()]
    at = next(n for n in pairs if abs(int(text[n]) - int(text[n + 1])) > 1)
    swapped = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
    retype(tmp_path, check_mark(job), "easting", swapped)
    assert first_kind(path) == "digits swapped"


def test_an_ellipsoidal_height_in_the_register(tmp_path: Path) -> None:
    job = simulate(PLAN)
    path = job.write(tmp_path)
    mark = check_mark(job)
    separation = job.marks.geographic(mark)[2] - job.marks.of(mark)[2]
    retype(tmp_path, mark, "height", None, separation)
    assert first_kind(path) == "height system"


def test_a_check_on_another_mark_than_it_says(tmp_path: Path) -> None:
    job = simulate(PLAN)
    check = job.job["session"][0]["checks"][0]
    other = next(name for name in job.marks.names if name != check["mark"])
    check["mark"] = str(other)
    # the session's other checks keep their marks, so only this one fails
    assert first_kind(job.write(tmp_path)) == "other mark"


@pytest.mark.parametrize("checks", [3, 4])
def test_a_base_that_moved_is_told_and_splitting_the_session_makes_the_job_pass(tmp_path: Path, checks: int) -> None:
    """With one late occupation, and with two."""
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=checks, marks=4, seed=5))
    job.knock_base(0, 0.5, east=0.21, north=-0.13, up=0.05)
    path = job.write(tmp_path)
    first = run_job(path)
    assert first.exit_code == 3
    (diagnosis,) = first.record["diagnoses"]
    kinds = [reading["kind"] for reading in diagnosis["readings"]]
    moved = diagnosis["readings"][kinds.index("base moved")]
    # the difference is observed minus known: the points move against the base
    np.testing.assert_allclose(
        [moved["largest"][axis] for axis in ("d_east", "d_north", "d_height")], [-0.21, 0.13, -0.05], rtol=0, atol=0.03
    )
    if checks == 3:
        return  # one late mark alone: moved, or the mark or point wrong; nothing to paste is promised
    assert kinds[0] == "base moved" and "+0.2" in moved["text"]
    text = path.read_text(encoding="utf-8")
    start = text.index("[[session]]")
    rest = text.find("\n[", start + 1)
    path.write_text(text[:start] + diagnosis["split"] + text[rest:] if rest > 0 else text[:start] + diagnosis["split"])
    second = run_job(path)
    assert second.exit_code == 0, second.record["checks"]
    # every point lies between the last good and the first bad occupation, where nobody knows when the base moved
    assert second.record["rows"]["by_reason"] == {"outside_sessions": 40}


def test_clean_jobs_have_nothing_to_read(tmp_path: Path) -> None:
    for seed in range(6):
        job = simulate(Plan(sessions=2, points=10, ties=1, checks=3, marks=4, seed=100 + seed))
        record = run_job(job.write(tmp_path / str(seed)), dry_run=True).record
        assert record["diagnoses"] == [] and record["verdict"] == "proven", seed
