"""Points that come again with other raw numbers while every occupation stands as it was: no check says so."""

import datetime as dt
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from first_issue import run_once
from numpy.typing import NDArray
from second_issues import doubts
from simulate import Plan, Simulation, simulate, turn_enu

from pipeline import run_job
from pipeline.run.outcome import Outcome

Which = NDArray[np.bool_]


def sound(*, noise: bool = False) -> Simulation:
    return simulate(Plan(sessions=2, points=20, ties=1, checks=3, marks=5, noise=noise))


def points(job: Simulation, first: int = 0, last: int = 99) -> Which:
    """Return points of the first session, from one to before another in their order."""
    found = np.zeros(len(job.rows["name"]), bool)
    found[np.flatnonzero((job.rows["session"] == 0) & (job.rows["kind"] == "point"))[first:last]] = True
    return found


def moved(job: Simulation, which: Which, east: float = 0.0, north: float = 0.0, up: float = 0.0) -> None:
    enu = np.tile((east, north, up), (int(which.sum()), 1))
    job.displace(which, turn_enu(job.rows["longitude"][which], job.rows["latitude"][which], enu))


def told(outcome: Outcome) -> list[str]:
    return [one for one in outcome.record["notes"] if "other raw coordinates" in one]


def verdicts(outcome: Outcome) -> list[str]:
    return [str(one["verdict"]) for one in outcome.record["sessions"]]


@pytest.mark.parametrize(
    ("first", "last", "by", "says"),
    [
        (10, 20, (0.0, 0.0, -0.2), "10 of 20 points of session session-01 that issue 001 had too"),
        (0, 20, (0.0, 0.0, -0.13), "all 20 points of session session-01 that issue 001 had too"),
        (6, 14, (1.24, -0.87, -6.32), "by one vector (east +1."),
    ],
)
def test_points_that_changed_by_one_vector_without_an_occupation_are_in_doubt(
    first: int, last: int, by: tuple[float, float, float], says: str, tmp_path: Path
) -> None:
    job = sound()
    assert run_once(job.write(tmp_path)).exit_code == 0
    moved(job, points(job, first, last), *by)
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert says in what and '["base"]' in what and verdicts(second) == ["unchecked", "proven"]
    assert second.exit_code == 3


def test_the_doubt_stays_until_the_numbers_are_back_or_it_is_confirmed(tmp_path: Path) -> None:
    job = sound()
    run_once(job.write(tmp_path))
    moved(job, points(job, 10), up=-0.2)
    (what,) = doubts(run_job(job.write(tmp_path)))
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])
    third = run_job(job.write(tmp_path))
    assert (third.record["issue"], doubts(third)) == (3, [what])
    shutil.move(tmp_path / "out" / "issues" / "001", tmp_path / "aside")
    job.rows["code"] = np.array([f"{code}2" for code in job.rows["code"]])
    fourth = run_job(job.write(tmp_path))
    assert (fourth.record["issue"], doubts(fourth)) == (4, [what])  # nobody can compare it any more
    shutil.move(tmp_path / "aside", tmp_path / "out" / "issues" / "001")
    moved(job, points(job, 10), up=0.2)
    fifth = run_job(job.write(tmp_path))
    assert (fifth.exit_code, doubts(fifth), verdicts(fifth)) == (0, [], ["proven", "proven"])
    moved(job, points(job, 10), up=-0.2)
    job.job["checks"] = {"confirmed": ["base"]}
    sixth = run_job(job.write(tmp_path))
    assert (sixth.exit_code, doubts(sixth)) == (0, [])
    job.rows["code"] = np.array([f"{code}3" for code in job.rows["code"]])
    seventh = run_job(job.write(tmp_path))
    assert (seventh.exit_code, seventh.record["doubts"]) == (0, [])


def test_heights_that_slipped_by_a_row_are_told(tmp_path: Path) -> None:
    job = sound()
    run_once(job.write(tmp_path))
    rows = np.flatnonzero(points(job, 4, 12))
    job.rows["height"] = job.rows["height"].copy()
    job.rows["height"][rows[1:]] = job.rows["height"][rows[:-1]]
    second = run_job(job.write(tmp_path))
    (note,) = told(second)
    assert " points of session session-01" in note and "by up to 0.000 m in plan" in note and second.exit_code == 0


def test_three_pole_heights_put_right_are_a_note(tmp_path: Path) -> None:
    job = sound()
    run_once(job.write(tmp_path))
    moved(job, points(job, 3, 6), up=-0.5)
    second = run_job(job.write(tmp_path))
    (note,) = told(second)
    assert "3 of 20 points" in note and "up -0.500 m" in note
    assert (second.exit_code, verdicts(second)) == (0, ["proven", "proven"])


def of_session(job: Simulation) -> Which:
    return np.asarray(job.rows["session"] == 0)


def processed_again(job: Simulation) -> None:
    moved(job, of_session(job), 0.3, -0.2, 0.9)


def processed_with_noise(job: Simulation) -> None:
    which, rng = of_session(job), np.random.default_rng(1)
    enu = rng.normal(0, (0.012, 0.012, 0.03), (int(which.sum()), 3))
    job.displace(which, turn_enu(job.rows["longitude"][which], job.rows["latitude"][which], enu))


def renamed(job: Simulation) -> None:
    is_point = job.rows["kind"] == "point"
    job.rows["name"] = np.where(is_point, np.char.add("N", job.rows["name"].astype(str)), job.rows["name"])


def in_another_order(job: Simulation) -> None:
    job.keep(np.arange(len(job.rows["name"]))[::-1])


def fewer_digits(job: Simulation) -> None:
    for axis, digits in (("longitude", 8), ("latitude", 8), ("height", 3)):
        job.rows[axis] = np.round(job.rows[axis], digits)


def fewer_rows(job: Simulation) -> None:
    job.keep(~points(job, 5, 9))


def one_hour_later(job: Simulation) -> None:
    job.rows["time"] = job.rows["time"] + np.timedelta64(1, "h")
    for session in job.job["session"]:
        session["start"], session["end"] = (session[key] + dt.timedelta(hours=1) for key in ("start", "end"))


@pytest.mark.parametrize(
    "change",
    [processed_again, processed_with_noise, renamed, in_another_order, fewer_digits, fewer_rows, one_hour_later],
)
def test_an_export_that_honestly_comes_again_is_quiet(change: Callable[[Simulation], None], tmp_path: Path) -> None:
    job = sound(noise=True)
    first = run_once(job.write(tmp_path))
    change(job)
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, told(second), doubts(second)) == (first.exit_code, [], doubts(first))


def test_a_session_that_failed_before_has_no_proof_to_take_away(tmp_path: Path) -> None:
    """Whoever looks into a failing check may put pole heights right as well: that is told."""
    job = sound()
    job.mistype("CM2", "easting", 0.5)
    assert verdicts(run_job(job.write(tmp_path)))[0] == "failed"
    job.mistype("CM2", "easting", -0.5)
    moved(job, points(job), up=-0.2)
    second = run_job(job.write(tmp_path))
    (note,) = told(second)
    assert "up -0.200 m" in note and (second.exit_code, doubts(second)) == (0, [])


def test_points_of_one_name_that_are_means_are_no_readings(tmp_path: Path) -> None:
    """A mean lies where no reading does: the export that comes again with new rows did not move them."""
    job = sound(noise=True)
    again = np.flatnonzero(points(job, 0, 8))
    rows = np.flatnonzero(points(job, 10, 18))
    job.rows["name"][rows] = job.rows["name"][again]
    for axis in ("longitude", "latitude", "height"):
        job.rows[axis][rows] = job.rows[axis][again]
    moved(job, np.isin(np.arange(len(job.rows["name"])), rows), east=0.025, up=0.06)
    job.job["checks"], job.job["issue"] = {"vertical": 0.1, "horizontal": 0.1}, {"repeats": "mean"}
    first = run_job(job.write(tmp_path))
    assert first.record["repeats"]["means"]
    job.job["checks"] = {"vertical": 0.025, "horizontal": 0.01}
    fewer_digits(job)
    assert not told(run_job(job.write(tmp_path)))


_FIELD = (1.24, -0.87, 2.32)


def corrected(job: Simulation, which: Which, sign: float = 1.0) -> None:
    """Add the field's shift to rows, or take it off again."""
    moved(job, which, *(sign * along for along in _FIELD))


def with_field_shift() -> tuple[Simulation, Which]:
    """A job whose first session carries a field shift behind its tie, in occupations and points alike."""
    job = sound()
    start = np.flatnonzero(job.rows["session"] == 0)[1]
    since = job.rows["time"][start].astype("datetime64[ms]").item().replace(tzinfo=dt.UTC)
    which = of_session(job) & (job.rows["time"] >= job.rows["time"][start])
    corrected(job, which)
    job.job["session"][0]["field_shift"] = dict(zip(("from", "east", "north", "up"), (since, *_FIELD), strict=True))
    return job, which


@pytest.mark.parametrize(
    ("last", "by", "says"),
    [(99, tuple(-along for along in _FIELD), "all 20 points"), (12, (0.0, 0.0, 0.15), "12 of 20 points")],
)
def test_points_under_a_field_shift_that_changed_alone_are_in_doubt(
    last: int, by: tuple[float, float, float], says: str, tmp_path: Path
) -> None:
    """The points come again without the field's correction, or with another pole: the occupations are as they were."""
    job, _ = with_field_shift()
    assert run_once(job.write(tmp_path)).exit_code == 0
    moved(job, points(job, 0, last), *by)
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert says in what and verdicts(second) == ["unchecked", "proven"] and second.exit_code == 3


def test_a_raw_export_without_its_field_shift_is_quiet(tmp_path: Path) -> None:
    job, which = with_field_shift()
    run_once(job.write(tmp_path))
    corrected(job, which, -1.0)
    del job.job["session"][0]["field_shift"]
    second = run_job(job.write(tmp_path))
    assert (second.record["issue"], second.exit_code, told(second), doubts(second)) == (2, 0, [], [])


def test_points_left_corrected_in_a_raw_export_are_in_doubt(tmp_path: Path) -> None:
    job, which = with_field_shift()
    run_once(job.write(tmp_path))
    corrected(job, which & ~points(job, 5, 13), -1.0)
    del job.job["session"][0]["field_shift"]
    (what,) = doubts(run_job(job.write(tmp_path)))
    assert "8 of 20 points" in what


def test_a_field_shift_put_right_beside_other_codes_changed_no_reading(tmp_path: Path) -> None:
    """It began some points later than the job said: their numbers are what they were."""
    job, _ = with_field_shift()
    run_once(job.write(tmp_path))
    seventh = np.flatnonzero(points(job))[7]
    since = job.rows["time"][seventh].astype("datetime64[ms]").item().replace(tzinfo=dt.UTC)
    job.job["session"][0]["field_shift"]["from"] = since
    job.rows["code"] = np.array([f"{code}1" for code in job.rows["code"]])
    assert told(run_job(job.write(tmp_path))) == []


def test_a_field_shift_stated_for_an_export_that_has_it_now_is_quiet(tmp_path: Path) -> None:
    job, which = with_field_shift()
    stated = job.job["session"][0].pop("field_shift")
    corrected(job, which, -1.0)
    run_job(job.write(tmp_path))
    corrected(job, which)
    job.job["session"][0]["field_shift"] = stated
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, told(second), doubts(second)) == (0, [], [])
