"""One name for the tie and for the check that closes the day on the same mark: the one does not hide the other."""

from pathlib import Path

import pytest
from running import run_simulated
from simulate import Plan, Simulation, simulate

KNOCK = 4.5e-7  # degrees of latitude: 0.05 m


def closed_on_its_tie(code: str, knock: float) -> Simulation:
    """The last check stands on the mark of the tie, is called like it, and the base moved before it."""
    job = simulate(Plan(sessions=1, points=10, ties=1, checks=2, noise=False))
    session = job.job["session"][0]
    tie, last = session["ties"][0], session["checks"].pop()
    first, closing = job.rows["name"] == tie["point"], job.rows["name"] == last["point"]
    for column in ("longitude", "latitude", "height"):
        job.rows[column][closing] = job.rows[column][first]
    job.rows["latitude"][closing] += knock
    job.rows["name"][closing] = tie["point"]
    job.rows["code"] = job.rows["code"].astype("U8")
    job.rows["code"][closing] = code
    return job


def test_the_code_of_a_check_says_which_is_which(tmp_path: Path) -> None:
    job = closed_on_its_tie("CHK", KNOCK)
    name = job.job["session"][0]["ties"][0]["point"]
    issue = run_simulated(job, tmp_path, code=3)
    rows = [row for row in issue.check_marks.rows if row["point"] == name]
    assert [(row["role"], row["passed"]) for row in rows] == [("tie", 1), ("check", 0)]
    assert rows[1]["d_north"] == pytest.approx(0.05, abs=0.003)
    assert not [note for note in issue.record["notes"] if "all used as ties" in note]


def test_without_it_both_tie_and_that_is_told(tmp_path: Path) -> None:
    job = closed_on_its_tie("P", 0.2 * KNOCK)
    issue = run_simulated(job, tmp_path)
    (note,) = [note for note in issue.record["notes"] if "all used as ties" in note]
    assert note.startswith("session session-01 has 2 readings called S01-T1 (rover001.csv:2, rover001.csv:")
    assert "none checks the others" in note
