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


def parted(job: Simulation, folder: Path, which: NDArray[np.int64], beside: NDArray[np.int64]) -> Path:
    """Write the job with some rows in an export of their own, and with those beside them in another session likewise.

    No row of the rest lies between those, so that one rover may have written them all.
    """
    for earlier in folder.glob("rover*.csv"):
        earlier.unlink()
    path = job.write(folder)
    (export,) = folder.glob("rover*.csv")
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    export.unlink()
    parts = {"rover1.csv": {*which.tolist()}, "rover2.csv": {*beside.tolist()}}
    parts["rover3.csv"] = {*range(len(lines))}.difference(*parts.values())
    for name, rows in parts.items():
        some = [lines[row] for row in sorted(rows)]
        if some:
            (folder / name).write_text("\n".join([heading, *some, ""]), encoding="utf-8")
    path.write_text(path.read_text(encoding="utf-8").replace(export.name, "rover*.csv"), encoding="utf-8")
    return path


def by_a_day(job: Simulation, which: NDArray[np.int64], sign: int = 1) -> None:
    """Give rows of the first session times of the second, or take these back."""
    step = np.subtract(*(job.rows["time"][points(job, 19, 20, session=number)[0]] for number in (1, 0)))
    job.rows["time"][which] += sign * (step + np.timedelta64(7, "s"))


def test_all_of_an_export_with_another_date_beside_another_is_in_doubt(tmp_path: Path) -> None:
    """No occupation of it tests which date is right, and one rover is at two places; put back, nothing is asked."""
    job = sound()
    mine, beside = points(job, 4, 14), points(job, 4, 14, session=1)
    assert run_job(parted(job, tmp_path, mine, beside)).exit_code == 0
    by_a_day(job, mine)
    second = run_job(parted(job, tmp_path, mine, beside))
    (what,) = doubts(second)
    assert what.startswith(
        "rover1.csv: 10 points that issue 001 had in session session-01 come again with another time"
    )
    assert "no check tests which of its two dates is right" in what and second.exit_code == 3
    by_a_day(job, mine, -1)
    third = run_job(parted(job, tmp_path, mine, beside))
    assert (third.exit_code, doubts(third), told(third)) == (0, [], [])


@pytest.mark.parametrize("beside", [True, False])
def test_all_of_an_export_whose_date_is_put_right_is_told(beside: bool, tmp_path: Path) -> None:
    """It was at work beside another before, or it is alone in its hours."""
    job = sound()
    mine = points(job, 4, 14)
    other = points(job, 4, 14, session=1) if beside else points(job, 0, 0)
    if beside:
        by_a_day(job, mine)
    assert run_job(parted(job, tmp_path, mine, other)).exit_code == 0
    by_a_day(job, mine, -1 if beside else 1)
    second = run_job(parted(job, tmp_path, mine, other))
    (note,) = told(second)
    assert note.startswith("rover1.csv: 10 points") and (second.exit_code, doubts(second)) == (0, [])
    assert "no check tests which of its two dates is right" in note


def test_all_points_of_an_export_whose_occupations_stay_are_in_doubt(tmp_path: Path) -> None:
    """Its clock was not put right: it was right."""
    job = sound()
    mine = np.flatnonzero(job.rows["session"] == 0)
    assert run_job(parted(job, tmp_path, mine, points(job, 0, 0))).exit_code == 0
    by_a_day(job, points(job, 0, 19))
    second = run_job(parted(job, tmp_path, mine, points(job, 0, 0)))
    assert second.exit_code == 3 and any("rover1.csv: 19 points" in what for what in doubts(second))


def renamed(job: Simulation, which: NDArray[np.int64]) -> None:
    """Call rows anew, as an export does that numbers from one on."""
    names = job.rows["name"].astype(object)
    names[which] = [f"P-{number}" for number in range(1, len(which) + 1)]
    job.rows["name"] = names.astype(str)


def test_points_that_come_again_under_other_names_and_times_in_another_session_are_in_doubt(tmp_path: Path) -> None:
    job = sound()
    assert run_job(job.write(tmp_path)).exit_code == 0
    which = points(job, 4, 14)
    renamed(job, which)
    later(job, which)
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert "10 points that issue 001 had in session session-01 come again under another name, with another time" in what
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])
    third = run_job(job.write(tmp_path))
    assert (third.record["issue"], doubts(third)) == (3, [what])


def test_names_may_go_round(tmp_path: Path) -> None:
    """Each row has the name of another: it is known by its place."""
    job = sound()
    run_job(job.write(tmp_path))
    which = points(job, 4, 14)
    job.rows["name"][which] = np.roll(job.rows["name"][which], 3)
    later(job, which)
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert "10 points" in what and "under another name, with another time" in what


@pytest.mark.parametrize("noise", [False, True])
def test_points_that_come_again_in_their_session_under_other_names_and_times_are_noted(
    noise: bool, tmp_path: Path
) -> None:
    job = simulate(Plan(sessions=2, points=20, ties=1, checks=3, marks=5, noise=noise))
    run_job(job.write(tmp_path))
    which = points(job, 4, 14)
    renamed(job, which)
    job.rows["time"][which] += np.timedelta64(11, "s")
    second = run_job(job.write(tmp_path))
    (note,) = [one for one in second.record["notes"] if "exported anew" in one]
    assert "10 points of session session-01" in note and doubts(second) == []


def measured_again(job: Simulation, which: NDArray[np.int64]) -> None:
    """Measure points of the first session once more in the second, on the same base, under other names."""
    drawn = np.random.default_rng(3)
    job.displace(np.isin(np.arange(len(job.rows["name"])), which), drawn.normal(0.0, 0.01, (len(which), 3)))
    renamed(job, which)
    later(job, which)


def named_anew(job: Simulation, which: NDArray[np.int64]) -> None:
    """Give points other names alone."""
    renamed(job, which)


def left_out(job: Simulation, which: NDArray[np.int64]) -> None:
    """Take points out, and others under other names in."""
    renamed(job, which)
    job.displace(np.isin(np.arange(len(job.rows["name"])), which), np.array([3.0, 4.0, 5.0]))


@pytest.mark.parametrize("change", [measured_again, named_anew, left_out])
@pytest.mark.parametrize("overlap", [False, True])
def test_new_names_alone_and_new_measurements_are_left_alone(
    change: Callable[[Simulation, NDArray[np.int64]], None], overlap: bool, tmp_path: Path
) -> None:
    job = sound(overlap=overlap)
    run_job(job.write(tmp_path))
    change(job, points(job, 4, 14))
    second = run_job(job.write(tmp_path))
    anew = [one for one in second.record["notes"] if "exported anew" in one]
    assert (doubts(second), told(second), anew) == ([], [], [])
