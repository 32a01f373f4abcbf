"""Points that fall into another session than in the issue before, with the raw numbers that they had there."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from first_issue import run_once
from numpy.typing import NDArray
from second_issues import doubts
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.run.outcome import Outcome


def sound(*, overlap: bool = False) -> Simulation:
    """Return a job of two sessions at two times on one base, or, with ``overlap``, at one time on two."""
    job = simulate(Plan(sessions=2, points=20, ties=1, checks=3, marks=5, noise=False, overlap=overlap))
    if not overlap:
        job.rows["base"] = np.full(len(job.rows["base"]), "BASE-01")
        for session in job.job["session"]:
            session["base"] = "BASE-01"
    return job


def points(job: Simulation, first: int, last: int, session: int = 0) -> NDArray[np.int64]:
    """Return the rows of points of a session, from one to before another in their order."""
    return np.flatnonzero((job.rows["session"] == session) & (job.rows["kind"] == "point"))[first:last]


def later(job: Simulation, which: NDArray[np.int64]) -> None:
    """Give rows of the first session times among the points of the second, in an export in the order of its times."""
    step = job.rows["time"][points(job, 5, 6, session=1)[0]] - job.rows["time"][points(job, 5, 6)[0]]
    job.rows["time"][which] += step + np.timedelta64(7, "s")
    job.keep(np.argsort(job.rows["time"], kind="stable"))


def told(outcome: Outcome) -> list[str]:
    return [one for one in outcome.record["notes"] if "the same raw coordinates" in one]


def test_points_that_come_again_with_a_time_of_another_session_are_in_doubt_until_it_is_put_back(
    tmp_path: Path,
) -> None:
    job = sound()
    assert run_once(job.write(tmp_path)).exit_code == 0
    rows = {name: column.copy() for name, column in job.rows.items()}
    later(job, points(job, 4, 14))
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert "10 points that issue 001 had in session session-01 come again with another time" in what
    assert "are in session session-02 now" in what and second.exit_code == 3
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])
    third = run_job(job.write(tmp_path))
    assert (third.record["issue"], doubts(third)) == (3, [what])
    job.rows = rows
    fourth = run_job(job.write(tmp_path))
    assert (fourth.exit_code, doubts(fourth), told(fourth)) == (0, [], [])


def test_what_is_confirmed_is_asked_once(tmp_path: Path) -> None:
    job = sound()
    run_once(job.write(tmp_path))
    later(job, points(job, 4, 14))
    job.job["checks"] = {"confirmed": ["base"]}
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second)) == (0, [])
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])
    assert run_job(job.write(tmp_path)).record["doubts"] == []


def test_three_such_points_are_a_note(tmp_path: Path) -> None:
    job = sound()
    run_once(job.write(tmp_path))
    later(job, points(job, 4, 7))
    second = run_job(job.write(tmp_path))
    (note,) = told(second)
    assert "3 points" in note and (second.exit_code, doubts(second)) == (0, [])


def test_points_that_come_again_with_another_base_id_are_in_doubt(tmp_path: Path) -> None:
    job = sound(overlap=True)
    assert run_job(job.write(tmp_path)).exit_code == 0
    job.rows["base"][points(job, 4, 14)] = job.rows["base"][points(job, 0, 1, session=1)[0]]
    second = run_job(job.write(tmp_path))
    assert any("10 points" in what and "with another base id" in what for what in doubts(second))
    assert second.exit_code == 3


def whole_clock(job: Simulation) -> None:
    """Put the clock of the export right, and the log with it."""
    job.rows["time"] = job.rows["time"] + np.timedelta64(1, "h")
    for session in job.job["session"]:
        session["start"], session["end"] = (session[key] + dt.timedelta(hours=1) for key in ("start", "end"))


def with_an_occupation(job: Simulation) -> None:
    """Put the clock of a stretch right in which a mark was occupied: the check tests it where it stands now."""
    last = np.flatnonzero((job.rows["session"] == 0) & (job.rows["kind"] != "point"))[-1]
    name = job.rows["name"][last]
    later(job, np.append(points(job, 12, 20), last))
    first, second = job.job["session"]
    second["checks"] += [one for one in first["checks"] if one["point"] == name]
    first["checks"] = [one for one in first["checks"] if one["point"] != name]


def log_put_right(job: Simulation) -> None:
    """End the first session earlier and begin the second one earlier, in a job whose codes changed as well."""
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])
    cut = job.rows["time"][points(job, 12, 13)[0]].astype("datetime64[ms]").item().replace(tzinfo=dt.UTC)
    first, second = job.job["session"]
    late = {job.rows["name"][row] for row in np.flatnonzero(job.rows["session"] == 0) if _time(job, row) >= cut}
    second["checks"] += [one for one in first["checks"] if one["point"] in late]
    first["checks"] = [one for one in first["checks"] if one["point"] not in late]
    first["end"] = second["start"] = cut


def within_the_session(job: Simulation) -> None:
    job.rows["time"][points(job, 4, 14)] += np.timedelta64(2, "s")


def observed_anew(job: Simulation) -> None:
    """Stake points out again in the other session: no one of them lies where it lay, in the export."""
    which = points(job, 4, 14)
    job.rows["height"][which] += 0.012
    later(job, which)


def _time(job: Simulation, row: int) -> dt.datetime:
    found: dt.datetime = job.rows["time"][row].astype("datetime64[ms]").item()
    return found.replace(tzinfo=dt.UTC)


@pytest.mark.parametrize("change", [whole_clock, with_an_occupation, log_put_right, within_the_session, observed_anew])
def test_what_was_put_right_as_a_whole_is_quiet(change: Callable[[Simulation], None], tmp_path: Path) -> None:
    job = sound()
    run_once(job.write(tmp_path))
    change(job)
    second = run_job(job.write(tmp_path))
    assert (second.record["issue"], told(second)) == (2, [])
    assert not any("the same raw coordinates" in what for what in doubts(second))
