"""Points of an issue that come back as marks of the register: their own session is not proven by them.

Truth is simulated. The noise of a reading is many times the last digit of a mark, so that a reading that agrees to it
was copied.
"""

from pathlib import Path

import numpy as np
import pytest
from first_issue import run_once
from second_issues import doubts, rows_of
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.aside import set_aside
from pipeline.reissue.own_marks import _asked
from pipeline.run.outcome import Outcome

#: Points of the first session, and what they are called as marks.
COPIED = {"S01-00003": "NB1", "S01-00009": "NB2"}
OWN = [{"point": name, "mark": mark} for name, mark in COPIED.items()]


def day(sessions: int = 1, noise: bool = True, wrong: bool = True) -> Simulation:
    """Return a job whose first session has a tie alone, to a mark that may be 0.8 m wrong; its checks are points."""
    job = simulate(Plan(sessions=sessions, points=12 * sessions, checks=2, noise=noise, place=ELLIPSOIDAL, seed=8))
    job.job["session"][0]["checks"] = []
    job.rows["code"] = np.array(["GL"] * len(job.rows["code"]))
    if wrong:
        job.mistype("CM1", "easting", 0.8)
        job.keep((job.rows["kind"] != "check") | (job.rows["session"] != 0))
    return job


def copy_into_register(job: Simulation, first: Outcome) -> None:
    """Add points of the first issue to the register, in millimetres."""
    assert first.folder is not None
    known = {row["name"]: row for row in rows_of(first.folder, "points")}
    values = {axis: [round(known[name][axis], 3) for name in COPIED] for axis in ("easting", "northing", "height")}
    values |= {"mark": [*COPIED.values()], "ellipsoid_height": values["height"], "hu95": [0.01] * 2, "vu95": [0.02] * 2}
    for column, had in job.register.items():
        job.register[column] = np.array([*had.tolist(), *values[column]], had.dtype)


def recoded(job: Simulation) -> None:
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])


def told(outcome: Outcome) -> list[str]:
    return [one for one in outcome.record["notes"] if "of this job gave" in one]


def test_a_session_checked_by_its_own_points_is_in_doubt(tmp_path: Path) -> None:
    job = day()
    first = run_once(job.write(tmp_path))
    copy_into_register(job, first)
    job.job["session"][0]["checks"] = OWN
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert "'NB1' (S01-00003 there)" in what and "issue 001" in what and '["unanswered-check"]' in what
    assert (second.exit_code, second.record["verdict"]) == (3, "unchecked")
    recoded(job)
    third = run_job(job.write(tmp_path))
    assert (third.record["issue"], doubts(third)) == (3, [what])
    job.job["checks"] = {"confirmed": ["unanswered-check"]}
    assert (run_job(job.write(tmp_path)).exit_code, doubts(run_job(job.write(tmp_path)))) == (0, [])


def other_reading_on(job: Simulation, mark: str) -> None:
    """Set the pole up anew where the first copied point is, and check the session by that."""
    at, again = (list(job.rows["name"]).index(name) for name in ("S01-00003", "S01-00011"))
    for axis, by in (("longitude", 1e-7), ("latitude", -8e-8), ("height", 0.012)):
        job.rows[axis][again] = job.rows[axis][at] + by
    job.job["session"][0]["checks"] = [{"point": "S01-00011", "mark": mark}]


@pytest.mark.parametrize("other", [False, True])
def test_the_doubt_outlasts_the_files_of_the_issue_that_gave_the_marks(other: bool, tmp_path: Path) -> None:
    """`issue.keep` leaves its record alone: by that the register had no such mark when the readings were there."""
    job = day()
    job.job["issue"] = {"keep": 1}
    first = run_once(job.write(tmp_path))
    copy_into_register(job, first)
    job.job["session"][0]["checks"] = OWN
    if other:
        other_reading_on(job, "NB1")
    (what,) = doubts(run_job(job.write(tmp_path)))
    for number in (3, 4):
        recoded(job)
        again = run_job(job.write(tmp_path))
        assert (again.record["issue"], doubts(again)) == (number, [what])
    assert first.folder is not None and not [*first.folder.glob("*.gpkg")]


@pytest.mark.parametrize("whole", [False, True])
def test_the_doubt_outlasts_the_issue_set_aside(whole: bool, tmp_path: Path) -> None:
    """An issue somebody wrote into is kept beside the others, with its points or without."""
    job = day()
    first = run_once(job.write(tmp_path))
    copy_into_register(job, first)
    job.job["session"][0]["checks"] = OWN
    (what,) = doubts(run_job(job.write(tmp_path)))
    assert first.folder is not None
    (damaged,) = first.folder.glob("*-001.html" if whole else "*-001.gpkg")
    damaged.unlink()
    set_aside(tmp_path / "job.toml", 1)
    recoded(job)
    third = run_job(job.write(tmp_path))
    assert (third.record["issue"], doubts(third)) == (3, [what])


def test_it_is_found_however_many_issues_were_made_since() -> None:
    """The first issue is asked, and of a thousand few enough to be read."""
    for count in (1, 20, 21, 22, 57, 1000):
        asked = _asked(range(1, count + 1))
        assert asked[0] == count and asked[-1] == 1 and asked == sorted(set(asked), reverse=True)
        assert len(asked) <= 30


def test_a_mark_measured_after_the_issue_without_it_is_not_of_that(tmp_path: Path) -> None:
    """Without noise a reading lies on its mark to the last digit; one of later has not given the mark to the issue."""
    job = day(noise=False, wrong=False)
    job.job["issue"] = {"keep": 1}
    late = job.rows["name"] == "S01-C2"  # the last reading
    taken = {name: values[late] for name, values in job.rows.items()}
    marks = {name: values.copy() for name, values in job.register.items()}
    job.keep(~late & (job.rows["kind"] != "check"))
    for name, values in marks.items():
        job.register[name] = values[marks["mark"] != "CM3"]
    run_job(job.write(tmp_path))
    recoded(job)
    run_job(job.write(tmp_path))
    job.rows = {name: np.concatenate([values, taken[name]]) for name, values in job.rows.items()}
    job.register = marks
    job.job["session"][0]["checks"] = [{"point": "S01-C2", "mark": "CM3"}]
    for _ in range(2):
        later = run_job(job.write(tmp_path))
        assert (later.exit_code, doubts(later), told(later)) == (0, [], [])
        recoded(job)


def test_another_reading_of_the_session_on_such_a_mark_proves_no_more(tmp_path: Path) -> None:
    """The pole stands where it stood: its reading differs by noise, and by nothing that the base was off by."""
    job = day()
    first = run_once(job.write(tmp_path))
    copy_into_register(job, first)
    other_reading_on(job, "NB1")
    (what,) = doubts(run_job(job.write(tmp_path)))
    assert "'NB1' (S01-00003 there)" in what


def test_a_session_tied_to_its_own_point_is_in_doubt(tmp_path: Path) -> None:
    job = day()
    first = run_once(job.write(tmp_path))
    copy_into_register(job, first)
    session = job.job["session"][0]
    session["ties"], session["checks"] = OWN[:1], [*session["ties"]]
    (what,) = doubts(run_job(job.write(tmp_path)))
    assert "'NB1' (S01-00003 there)" in what


def test_it_is_noted_where_two_other_marks_prove_the_session(tmp_path: Path) -> None:
    job = day(wrong=False)
    job.job["session"][0]["checks"] = [{"point": "S01-C1", "mark": "CM2"}]
    first = run_job(job.write(tmp_path))
    copy_into_register(job, first)
    job.job["session"][0]["checks"] += OWN
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second), len(told(second))) == (0, [], 1)


def test_a_mark_of_a_session_that_was_not_proven_is_noted_in_others(tmp_path: Path) -> None:
    job = day(sessions=2)
    first = run_job(job.write(tmp_path))
    copy_into_register(job, first)
    here, there = (list(job.rows["name"]).index(name) for name in ("S01-00003", "S02-00003"))
    shift = job.shifts[0] - job.shifts[1]
    job.rows["longitude"][there], job.rows["latitude"][there], job.rows["height"][there] = (
        job.rows[axis][here] for axis in ("longitude", "latitude", "height")
    )
    job.displace(np.arange(len(job.rows["name"])) == there, shift)
    job.job["session"][1]["checks"].append({"point": "S02-00003", "mark": "NB1"})
    second = run_job(job.write(tmp_path))
    assert doubts(second) == []
    (note,) = told(second)
    assert "session-02" in note and "session-01" in note and "unchecked" in note


def test_a_mark_put_right_in_a_computed_job_is_no_doubt(tmp_path: Path) -> None:
    """Without noise the observed coordinates of a mark are those that it has: a check that failed passes then."""
    job = day(noise=False, wrong=False)
    job.mistype("CM2", "easting", 0.8)
    job.job["session"][0]["checks"] = [{"point": "S01-C1", "mark": "CM2"}]
    assert run_job(job.write(tmp_path)).exit_code == 3
    job.mistype("CM2", "easting", -0.8)
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second), told(second)) == (0, [], [])


def test_honest_marks_are_left_alone(tmp_path: Path) -> None:
    """Published marks that were points before, measured with noise; the same without; and another name of the tie's."""
    for noise in (True, False):
        job = day(noise=noise, wrong=False)
        folder = tmp_path / str(noise)
        run_job(job.write(folder))
        job.job["session"][0]["checks"] = [{"point": "S01-C1", "mark": "CM2"}, {"point": "S01-C2", "mark": "CM3"}]
        second = run_job(job.write(folder))
        assert (second.exit_code, doubts(second), told(second)) == (0, [], [])
    job = day(wrong=False)
    job.job["session"][0]["checks"] = [{"point": "S01-C1", "mark": "CM2"}]
    run_job(job.write(tmp_path / "name"))
    job.register["mark"] = np.array(["AX1" if mark == "CM1" else mark for mark in job.register["mark"]], object)
    job.job["session"][0]["ties"][0]["mark"] = "AX1"
    again = run_job(job.write(tmp_path / "name"))
    assert (doubts(again), told(again)) == ([], [])
