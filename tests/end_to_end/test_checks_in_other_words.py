"""Closing checks that neither ``checks.codes`` nor a list names, by every usual word: never points in silence."""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from issued import read_layer
from running import published_record, run_simulated
from simulate import Plan, Simulation, simulate

DAY = Plan(sessions=1, points=12, ties=1, checks=2, marks=4, noise=False)
FIELDS = ("name", "code", "solution")


def closed(name: str, code: str, east: float = 0.0, named: str = "CM3") -> Simulation:
    """The base moves by so much half way; the closing occupation, on CM3, is called and coded as said."""
    job = simulate(DAY)
    for column in FIELDS:
        job.rows[column] = job.rows[column].astype("U24")
    job.job["session"][0]["checks"] = job.job["session"][0]["checks"][:1]
    late = np.arange(len(job.rows["name"])) >= 8
    enu = np.tile([east, 0.0, 0.0], (int(late.sum()), 1))
    job.displace(late, turn_enu(job.rows["longitude"][late], job.rows["latitude"][late], enu))
    job.rows["name"][-1], job.rows["code"][-1] = name, code
    return job


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("x1", "Check"), ("x1", "CHKPT"), ("x1", "check shot"), ("x1", "CHK-CM3"), ("x1", "Kontrolle"), ("x1", "CTRL"),
        ("closing check", "DP"), ("chk2", ""), ("CM-3 PM", "DP"), ("CM 03", ""), ("RECHECK-CM3", "DP"),
        ("CM2 close", "DP"),  # the wrong mark named: what it stands on is known all the same
    ],
)  # fmt: skip
def test_on_a_mark_a_check_that_would_fail_takes_the_proof_away(name: str, code: str, tmp_path: Path) -> None:
    issue = run_simulated(closed(name, code, 0.25), tmp_path, code=3)
    assert issue.record["verdict"] == "unchecked"
    assert issue.record["doubts"][0]["kind"] == "unanswered-check"
    (held,) = read_layer(issue.package, "held_back").rows
    assert (held["name"], held["reason"]) == (name, "suspect")
    # the knock itself, planted: 0.25 m east
    assert "CM3, 0.25 m away (east +0.2" in held["detail"] or "it, 0.25 m away (east +0.2" in held["detail"]


@pytest.mark.parametrize(("name", "code"), [("CM3-PM", ""), ("cm 3", "DP"), ("x1", "CHECK"), ("chk 2", "DP")])
def test_metres_off_it_is_still_meant_for_a_mark(name: str, code: str, tmp_path: Path) -> None:
    issue = run_simulated(closed(name, code, 12.0), tmp_path, code=3)
    assert issue.record["doubts"][0]["kind"] == "unanswered-check"
    (held,) = read_layer(issue.package, "held_back").rows
    assert held["name"] == name and "12.00 m away" in held["detail"]


@pytest.mark.parametrize(("name", "code"), [("x1", "Check"), ("closing check", "DP")])
def test_one_that_would_pass_is_told_and_no_more(name: str, code: str, tmp_path: Path) -> None:
    issue = run_simulated(closed(name, code), tmp_path)
    (told,) = issue.record["notes"]
    assert "makes it a check, and it is on CM3, 0.00 m away" in told and "neither a tie nor a check" in told
    assert issue.points.one(name=name) and not issue.record["doubts"]


def test_things_that_are_called_like_checks_are_left_alone(tmp_path: Path) -> None:
    job = simulate(DAY)
    for column in FIELDS:
        job.rows[column] = job.rows[column].astype("U24")
    things = [
        ("CHECKER 1", "DP"), ("x1", "CHECK VALVE"), ("MH-CHECK VALVE", "MH"), ("x2", "CHK DAM"), ("x3", "CONTROL BOX"),
        ("x4", "QC"), ("Checkout", "SHOP"), ("x5", "CK"), ("CM-20", "DP"),
    ]  # fmt: skip
    for row, (name, code) in zip(np.flatnonzero(job.rows["kind"] == "point"), things, strict=False):
        job.rows["name"][row], job.rows["code"][row] = name, code
    issue = run_simulated(job, tmp_path)
    assert issue.record["verdict"] == "proven" and not issue.record["notes"] and len(issue.points.rows) == 12


def test_a_check_by_code_that_is_held_back_is_told(tmp_path: Path) -> None:
    job = closed("x1", "chk", 0.25)
    job.rows["solution"][-1] = "float"
    record = published_record(job.write(tmp_path))
    (told,) = [note for note in record["notes"] if "check's code" in note]
    assert "x1 (rover001.csv:16) as not_fixed" in told


def test_a_session_that_has_no_reading_beside_one_that_has(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=6))
    job.keep(job.rows["session"] == 0)
    del job.job["session"][1]["ties"], job.job["session"][1]["checks"]
    assert len(run_simulated(job, tmp_path).points.rows) == 6
