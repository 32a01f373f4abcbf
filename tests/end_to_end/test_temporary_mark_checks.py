"""A day that is tied on a peg and closed on it by a check: what the base did meanwhile shows there, and only there."""

from pathlib import Path

import numpy as np
import pytest
from network_jobs import Network
from running import run_written

KNOCK = (0.16, -0.05, 0.02)


def on_a_peg(closing: str = "CHK", mark: str | None = None) -> Network:
    """Day a: ties on CM1 and the peg TM1, closed on CM2. Day b: opened on CM2, tied on the peg, ends on it."""
    work = Network(seed=3)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 500, 0)
    work.mark("TM1", 400, -300, known=False)
    work.session("a", ties=["CM1", "TM1"], points=[(10, 10), (60, 10)], closing=["CM2"])
    work.session("b", ties=["TM1"], checks=["CM2"], points=[(20, 30), (40, 30), (60, 30), (400, -300)])
    work.rows["code"] = np.where(work.row("b-4"), closing, work.rows["code"])
    if mark is not None:
        work.job["session"][1]["checks"].append({"point": "b-4", "mark": mark})
    return work


@pytest.mark.parametrize("named", [None, "TM1"])
def test_a_base_that_moved_fails_on_the_peg(named: str | None, tmp_path: Path) -> None:
    """By its code, or named in the session's checks."""
    work = on_a_peg("CHK" if named is None else "PEG", named)
    late = np.logical_or.reduce([work.row(name) for name in ("b-2", "b-3", "b-4")])
    work.displace(late, KNOCK)
    issue = run_written(work.write(tmp_path), 3)
    row = issue.check_marks.one(point="b-4")
    assert (row["mark"], row["role"], row["place"], row["passed"]) == ("TM1", "check", "closing", 0)
    # the knock itself, read off the peg: within what two occupations of it leave
    found = [row[f"d_{axis}"] for axis in ("east", "north", "height")]
    np.testing.assert_allclose(found, KNOCK, rtol=0, atol=0.03)
    assert row["known_easting"] == pytest.approx(row["easting"] - row["d_east"], abs=1e-6)
    assert 0.01 < row["hu95"] < 0.04
    held = {row["name"]: row["reason"] for row in issue.held_back.rows}
    assert held.keys() >= {"b-2", "b-3"} and set(held.values()) == {"suspect"}


def test_a_wrong_tie_on_the_peg_shows_in_the_check_on_it(tmp_path: Path) -> None:
    """Nobody's base moved: the reading that ties the day was 0.25 m off."""
    work = on_a_peg()
    work.displace(work.row("b-TM1-1"), (0.25, 0.0, 0.0))
    issue = run_written(work.write(tmp_path), 3)
    assert issue.check_marks.one(point="b-4")["passed"] == 0


@pytest.mark.parametrize("named", [None, "TM1"])
def test_one_that_agrees_proves_nothing_and_alarms_nobody(named: str | None, tmp_path: Path) -> None:
    """The peg lies where ties of the job put it: the day is closed by nothing."""
    issue = run_written(on_a_peg("CHK" if named is None else "PEG", named).write(tmp_path))
    row = issue.check_marks.one(point="b-4")
    assert row["passed"] is None and row["d_horizontal"] < 0.03
    assert not issue.record["doubts"]
    assert {row["proof"] for row in issue.points.rows if row["session"] == "b"} == {"unclosed"}


def test_a_check_on_a_peg_that_one_session_occupies_is_refused(tmp_path: Path) -> None:
    from pipeline import run_job
    from pipeline.problems import JobError

    work = on_a_peg("PEG", "TM9")
    with pytest.raises(JobError, match='check of session b on the mark "TM9", which is not in the register'):
        run_job(work.write(tmp_path))


def named_after_the_peg(name: str, work: Network) -> Network:
    """Call the day's last reading, on the peg, so; its code is an ordinary one."""
    work.rows["name"] = np.where(work.row("b-4"), name, work.rows["name"]).astype(object)
    return work


@pytest.mark.parametrize("name", ["TM1-2", "TM1", "tm 1 closing"])
def test_a_reading_that_is_named_after_the_peg_and_off_it_is_no_point_in_silence(name: str, tmp_path: Path) -> None:
    """Nobody gave it a check's code: the base moved by 0.16 m, and nothing else says so."""
    work = on_a_peg("KERB")
    work.displace(np.logical_or(work.row("b-3"), work.row("b-4")), KNOCK)
    issue = run_written(named_after_the_peg(name, work).write(tmp_path), 3)
    (doubt,) = issue.record["doubts"]
    assert doubt["kind"] == "unanswered-check" and doubt["sessions"] == ["b"]
    assert "named after the mark TM1 and beside it" in doubt["what"]
    assert f'{{ point = "{name}", mark = "TM1" }}' in doubt["what"]
    assert {row["name"]: row["reason"] for row in issue.held_back.rows}[name] == "suspect"


@pytest.mark.parametrize("name", ["TM1-2", "TM1"])
def test_one_that_agrees_with_the_peg_is_a_point_that_is_told(name: str, tmp_path: Path) -> None:
    issue = run_written(named_after_the_peg(name, on_a_peg("KERB")).write(tmp_path))
    assert not issue.record["doubts"] and name in issue.points.column("name")
    assert any("named after the mark TM1 and on it" in note for note in issue.record["notes"])


def test_points_that_have_a_pegs_name_elsewhere_are_left_alone(tmp_path: Path) -> None:
    """The first point of the day, 500 m from the peg, is called TM1-2; one that is like it in letters stands on it."""
    work = on_a_peg("KERB")
    work.rows["name"] = np.where(work.row("b-1"), "TM1-2", work.rows["name"]).astype(object)
    issue = run_written(work.write(tmp_path))
    assert not issue.record["doubts"] and "TM1-2" in issue.points.column("name")
    assert not any("TM1-2" in note for note in issue.record["notes"])


def test_points_numbered_from_a_peg_are_points(tmp_path: Path) -> None:
    """TM1-1 to TM1-4; the last stands 0.16 m beside the peg. Of one alone nobody knows what it stands for."""
    work = on_a_peg("PEG")
    for number in range(1, 5):
        work.rows["name"] = np.where(work.row(f"b-{number}"), f"TM1-{number}", work.rows["name"])
    work.displace(work.row("TM1-4"), KNOCK)
    issue = run_written(work.write(tmp_path))
    assert {f"TM1-{number}" for number in range(1, 5)} <= set(issue.points.column("name"))
    assert any("TM1-4" in note and "neither a tie nor a check" in note for note in issue.record["notes"])
