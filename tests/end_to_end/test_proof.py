"""Whole jobs on their checks: which points stand between which occupations, and what the verdicts say."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from every import every
from issued import Issue, off_truth
from numpy.testing import assert_allclose
from running import replace_in, rewrite_export, run_simulated, run_written
from simulate import Plan, Simulation, simulate

#: A tie and a check at the opening, ten points, a check at the close.
DAY = Plan(sessions=1, points=10, ties=1, checks=2, marks=4, noise=False)
POINTS = [f"S01-{number:05d}" for number in range(1, 11)]


def with_check_between(job: Simulation, after: int) -> Simulation:
    """Occupy CM2 once more after so many points; the row takes the closing check's place and the points move on."""
    points = np.flatnonzero(job.rows["kind"] == "point")
    closing = np.flatnonzero(job.rows["name"] == "S01-C2")[0]
    extra = (
        job.rows["time"][points[after - 1]]
        + (job.rows["time"][points[after]] - job.rows["time"][points[after - 1]]) // 2
    )
    job.keep(np.append(np.arange(len(job.rows["name"])), closing))
    for name, value in (("name", "S01-M1"), ("time", extra)):
        job.rows[name] = job.rows[name].copy()
        job.rows[name][-1] = value
    return job


def move_rows(job: Simulation, names: list[str], east: float = 0.0, north: float = 0.0, up: float = 0.0) -> None:
    chosen = np.isin(job.rows["name"], names)
    enu = np.tile([east, north, up], (int(chosen.sum()), 1))
    job.displace(chosen, turn_enu(job.rows["longitude"][chosen], job.rows["latitude"][chosen], enu))


def proofs(issue: Issue) -> dict[str, str]:
    return {row["name"]: row["proof"] for row in issue.points.rows}


def test_between_passing_occupations_points_are_bracketed_and_the_session_is_proven(tmp_path: Path) -> None:
    issue = run_simulated(simulate(DAY), tmp_path)
    assert proofs(issue) == dict.fromkeys(POINTS, "bracketed")
    assert [(row["point"], row["mark"], row["role"], row["place"]) for row in issue.check_marks.rows] == [
        ("S01-T1", "CM1", "tie", "opening"),
        ("S01-C1", "CM2", "check", "opening"),
        ("S01-C2", "CM3", "check", "closing"),
    ]
    (session,) = issue.sessions.rows
    assert (session["points"], session["ties"], session["checks"]) == (10, 1, 2)
    assert session["verdict"] == issue.record["verdict"] == "proven"


def test_a_failing_closing_check_holds_back_the_points_since_the_last_passing_one(tmp_path: Path) -> None:
    """A check passes after the fourth point; then the base is knocked, and only the closing check shows it."""
    job = with_check_between(simulate(DAY), 4)
    job.rows = {name: values[np.argsort(job.rows["time"], kind="stable")] for name, values in job.rows.items()}
    job.knock_base(0, 0.6, east=0.12, north=-0.05)
    issue = run_simulated(job, tmp_path, code=3)
    assert proofs(issue) == dict.fromkeys(POINTS[:4], "bracketed")
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=1e-4)
    assert issue.reasons() == dict.fromkeys(POINTS[4:], "suspect")
    assert [(row["point"], row["place"], row["passed"]) for row in issue.check_marks.rows] == [
        ("S01-T1", "opening", 1), ("S01-C1", "opening", 1), ("S01-M1", "between", 1), ("S01-C2", "closing", 0),
    ]  # fmt: skip
    assert issue.sessions.rows[0]["verdict"] == issue.record["verdict"] == "failed"
    failing = issue.check_marks.one(point="S01-C2")
    # The base moved east, so the rover's export moved west, as seen on the grid (which is turned by minutes of arc).
    assert_allclose([failing["d_east"], failing["d_north"]], [-0.12, 0.05], rtol=0, atol=0.003)
    assert_allclose(failing["d_horizontal"], np.hypot(failing["d_east"], failing["d_north"]), rtol=0, atol=1e-9)
    known = [failing[f"known_{axis}"] for axis in ("easting", "northing", "height")]
    assert_allclose(known, job.marks.of("CM3"), rtol=0, atol=1e-5)
    assert (failing["tolerance_h"], failing["tolerance_v"]) == (0.03, 0.05)
    assert failing["cause"]


def test_two_failing_checks_that_agree_say_how_the_base_moved(tmp_path: Path) -> None:
    job = simulate(replace(DAY, checks=4, marks=6))
    job.knock_base(0, 0.5, east=0.40, north=-0.20, up=0.10)
    issue = run_simulated(job, tmp_path, code=3)
    failing = issue.check_marks.where(passed=0)
    assert [row["point"] for row in failing] == ["S01-C3", "S01-C4"]
    for row in failing:
        assert "the base appears to have moved" in row["cause"], row["cause"]


@pytest.mark.parametrize(("up", "verdict"), [(0.0, "unchecked"), (1.2, "proven")])
def test_a_mark_under_a_second_name_proves_nothing_of_the_session_that_it_ties(
    up: float, verdict: str, tmp_path: Path
) -> None:
    """Both checks stand where the tie stood; a mark at the same place 1.2 m higher is another mark."""
    job = simulate(DAY)
    tie, checks = job.rows["name"] == "S01-T1", np.isin(job.rows["name"], ["S01-C1", "S01-C2"])
    for axis in ("longitude", "latitude", "height"):
        job.rows[axis][checks] = job.rows[axis][tie][0]
    move_rows(job, ["S01-C1", "S01-C2"], up=up)
    job.register = {name: np.append(values, values[:1]) for name, values in job.register.items()}
    job.register["mark"][-1] = "OLD1"
    job.register["height"][-1] += up
    job.job["session"][0]["checks"] = [{"point": point, "mark": "OLD1"} for point in ("S01-C1", "S01-C2")]
    issue = run_simulated(job, tmp_path)
    assert issue.record["verdict"] == verdict
    assert all(row["passed"] for row in every(issue.check_marks.rows))


@pytest.mark.parametrize(
    ("opening", "closing", "verdict", "word"),
    [
        ("height", "height", "unchecked", "unchecked"),
        ("position", "position", "unchecked", "unchecked"),
        ("position", "height", "unclosed", "unclosed"),
        ("3d", "height", "unclosed", "unclosed"),
        ("height", "3d", "proven", "bracketed"),
    ],
)
def test_position_and_height_are_proven_each_by_what_judges_it(
    opening: str, closing: str, verdict: str, word: str, tmp_path: Path
) -> None:
    """The tie holds both; the opening and the closing check stand on marks that hold what is said."""
    job = simulate(DAY)
    job.register["holds"] = np.array(["3d", opening, closing, "3d"], object)
    issue = run_simulated(job, tmp_path)
    assert issue.record["verdict"] == verdict
    assert set(proofs(issue).values()) == {word}
    lacking = {"height": "position", "position": "height"}[opening] if verdict == "unchecked" else None
    why = (
        f"session session-01 is unchecked although it has checks: none tests its {lacking}, since CM2, CM3 hold no"
        f" {lacking}. Occupy another mark of the register that holds {lacking}"
    )
    assert [note for note in issue.record["notes"] if "although" in note] == ([why] if lacking else [])


def chained(tmp_path: Path, marks_of_first: int) -> Issue:
    """Two sessions that share a temporary mark; only the first is tied to control, the second is checked on its CM1."""
    job = simulate(replace(DAY, sessions=2, ties=marks_of_first, temporary=True, tied_sessions=1, marks=8))
    first, second = job.job["session"]
    tied = {tie["mark"] for tie in second["ties"]}
    assert not tied & set(job.register["mark"]), tied
    ties = job.rows["name"] == first["ties"][0]["point"]
    for check in second["checks"]:
        rows = job.rows["name"] == check["point"]
        off = job.shifts[0] - job.shifts[1]  # the first session's rover on CM1, against the second one's base
        for axis in ("longitude", "latitude", "height"):
            job.rows[axis][rows] = job.rows[axis][ties][0]
        job.displace(rows, np.tile(off, (int(rows.sum()), 1)))
        check["mark"] = first["ties"][0]["mark"]
    return run_simulated(job, tmp_path)


def test_a_check_on_the_one_mark_that_everything_hangs_on_proves_nothing(tmp_path: Path) -> None:
    """Also where a temporary mark stands between; where a second mark ties the first session, it does prove."""
    alone, two = (chained(tmp_path / str(marks), marks) for marks in (1, 2))
    verdicts = [[row["verdict"] for row in issue.sessions.rows] for issue in (alone, two)]
    assert verdicts == [["proven", "unchecked"], ["proven", "proven"]]
    why = "session session-02 is unchecked although it has checks: none tests its position or its height, since CM1 is"
    (note,) = [note for note in alone.record["notes"] if "although" in note]
    assert note.startswith(f"{why} what its ties hang on alone")


def test_points_around_a_failing_check_in_between_are_suspect_on_both_sides(tmp_path: Path) -> None:
    job = with_check_between(simulate(DAY), 5)
    move_rows(job, ["S01-M1"], east=0.08)
    issue = run_simulated(job, tmp_path, code=3)
    assert issue.points.rows == []
    assert issue.reasons() == dict.fromkeys(POINTS, "suspect")
    assert issue.check_marks.one(point="S01-M1")["place"] == "between"


@pytest.mark.parametrize(("up", "passed"), [(0.049, 1), (0.051, 0)])
def test_the_vertical_tolerance_is_that_of_the_job_file(up: float, passed: int, tmp_path: Path) -> None:
    job = simulate(DAY)
    move_rows(job, ["S01-C2"], up=up)
    issue = run_simulated(job, tmp_path, code=3 * (1 - passed))
    row = issue.check_marks.one(point="S01-C2")
    assert row["passed"] == passed
    assert_allclose(row["d_height"], up, rtol=0, atol=2e-4)


@pytest.mark.parametrize(("north", "passed"), [(-0.0295, 1), (-0.0305, 0)])
def test_the_horizontal_tolerance_is_that_of_the_job_file(north: float, passed: int, tmp_path: Path) -> None:
    job = simulate(DAY)
    move_rows(job, ["S01-C2"], north=north)
    issue = run_simulated(job, tmp_path, code=3 * (1 - passed))
    assert issue.check_marks.one(point="S01-C2")["passed"] == passed


def test_without_a_closing_occupation_points_are_unclosed(tmp_path: Path) -> None:
    job = with_check_between(simulate(DAY), 6)
    job.keep(job.rows["name"] != "S01-C2")
    job.job["session"][0]["checks"].pop()
    issue = run_simulated(job, tmp_path)
    assert proofs(issue) == dict.fromkeys(POINTS[:6], "bracketed") | dict.fromkeys(POINTS[6:], "unclosed")
    assert issue.sessions.rows[0]["verdict"] == issue.record["verdict"] == "unclosed"


def test_without_an_opening_occupation_points_are_unclosed(tmp_path: Path) -> None:
    """The tie is made in the evening, beside the check: nothing stands before the points."""
    job = simulate(DAY)
    late = job.rows["time"].max() + 60_000 * np.arange(1, 3)
    for name, time in zip(("S01-T1", "S01-C1"), late, strict=True):
        job.rows["time"][job.rows["name"] == name] = time
    issue = run_simulated(job, tmp_path)
    assert proofs(issue) == dict.fromkeys(POINTS, "unclosed")
    assert issue.record["verdict"] == "unclosed"
    assert issue.check_marks.column("place") == ["closing"] * 3


@pytest.mark.parametrize("how", ["no-check", "check-on-the-mark-that-ties"])
def test_a_session_proven_by_nothing_but_its_own_tie_is_unchecked(how: str, tmp_path: Path) -> None:
    job = simulate(DAY)
    job.keep(job.rows["kind"] != "check")
    job.job["session"][0]["checks"] = []
    if how != "no-check":
        tie = np.flatnonzero(job.rows["name"] == "S01-T1")[0]
        job.keep(np.append(np.arange(len(job.rows["name"])), tie))
        for name, value in (("name", "S01-T1-PM"), ("time", job.rows["time"].max() + 60_000), ("code", "CHK")):
            job.rows[name] = job.rows[name].copy()
            job.rows[name][-1] = value
    issue = run_simulated(job, tmp_path)
    assert proofs(issue) == dict.fromkeys(POINTS, "unchecked")
    assert issue.sessions.rows[0]["verdict"] == issue.record["verdict"] == "unchecked"
    told = [
        note for note in issue.record["notes"] if "none tests its position or its height, since CM1 is where" in note
    ]
    assert len(told) == (how != "no-check")


@pytest.mark.parametrize("lacking", ["position", "height", "both"])
def test_a_session_that_no_control_ties_is_held_back_as_untied(lacking: str, tmp_path: Path) -> None:
    """Both sessions hang on TM1 together, and on a control mark that holds too little, or on none."""
    job = simulate(replace(DAY, sessions=2, temporary=True))
    job.register["holds"] = np.full(4, {"position": "height", "height": "position", "both": "3d"}[lacking], object)
    for session in job.job["session"]:
        session["ties"] = session["ties"][lacking == "both" :]
    issue = run_simulated(job, tmp_path, code=3)
    assert issue.points.rows == []
    reasons = issue.reasons()
    assert set(reasons.values()) == {"untied"}
    assert {f"S{session:02d}-{number:05d}" for session in (1, 2) for number in range(1, 11)} <= set(reasons)
    assert [row["verdict"] for row in issue.sessions.rows] == ["untied", "untied"]
    assert all(row["shift_x"] is None and row["sigma_up"] is None for row in every(issue.sessions.rows))
    points, on_marks, held = issue.balance()
    assert points + on_marks + held == len(job.rows["name"])
    told = " ".join(issue.record["notes"])
    assert "untied" in told
    assert ("position" in told) is (lacking != "height")
    assert ("height" in told) is (lacking != "position")
    assert ("compared with nothing" in told) is any(one["ties"] or one["checks"] for one in job.job["session"])


def test_one_untied_session_leaves_the_others_alone(tmp_path: Path) -> None:
    job = simulate(replace(DAY, sessions=2))
    job.job["session"][1]["ties"] = job.job["session"][1]["checks"] = []
    issue = run_simulated(job, tmp_path, code=3)
    assert proofs(issue) == dict.fromkeys(POINTS, "bracketed")
    assert [row["verdict"] for row in issue.sessions.rows] == ["proven", "untied"]


def by_code_alone(job: Simulation) -> None:
    """Leave the checks out of the job file: only their code CHK says what they are."""
    job.job["session"][0]["checks"] = []


def test_checks_are_found_by_their_code_within_the_radius(tmp_path: Path) -> None:
    job = simulate(DAY)
    by_code_alone(job)
    issue = run_simulated(job, tmp_path)
    assert [(row["point"], row["mark"], row["role"]) for row in issue.check_marks.rows] == [
        ("S01-T1", "CM1", "tie"), ("S01-C1", "CM2", "check"), ("S01-C2", "CM3", "check"),
    ]  # fmt: skip
    assert issue.record["verdict"] == "proven"


@pytest.mark.parametrize(("away", "on_mark"), [(0.49, True), (0.51, False)])
def test_the_radius_counts_after_the_correction(away: float, on_mark: bool, tmp_path: Path) -> None:
    """Within it a failing check; beyond it one that compares with no mark: held back, and the proof with it."""
    job = simulate(DAY)
    by_code_alone(job)
    move_rows(job, ["S01-C2"], east=away)
    issue = run_simulated(job, tmp_path, code=3)
    found = [row["point"] for row in issue.check_marks.rows]
    assert ("S01-C2" in found) is on_mark
    if on_mark:
        assert issue.check_marks.one(point="S01-C2")["passed"] == 0
    else:
        assert issue.reasons() == {"S01-C2": "suspect"}
        assert issue.record["verdict"] == "unchecked"


@pytest.mark.parametrize("said_by", ["name", "mark column"])
def test_beyond_the_radius_a_check_fails_where_its_name_or_mark_says_which_mark(said_by: str, tmp_path: Path) -> None:
    job = simulate(DAY)
    by_code_alone(job)
    move_rows(job, ["S01-C2"], east=7.0)
    if said_by == "name":
        job.rows["name"] = np.where(job.rows["name"] == "S01-C2", "CM3-PM", job.rows["name"])
    path = job.write(tmp_path)
    if said_by != "name":
        rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Mark": "CM3" if row["Point"] == "S01-C2" else ""})
        replace_in(path, {'code = "Code"': 'code = "Code", mark = "Mark"'})
    issue = run_written(path, 3)
    row = issue.check_marks.rows[-1]
    assert (row["mark"], row["role"], row["place"], row["passed"]) == ("CM3", "check", "closing", 0)
    assert_allclose(row["d_horizontal"], 7.0, rtol=0, atol=0.01)
    assert set(issue.reasons().values()) == {"suspect"}


def test_other_codes_are_the_jobs_own(tmp_path: Path) -> None:
    job = simulate(DAY)
    by_code_alone(job)
    job.rows["code"] = np.where(job.rows["code"] == "CHK", "control", job.rows["code"])
    job.job["checks"] = {"codes": ["CONTROL"]}
    assert len(run_simulated(job, tmp_path).check_marks.rows) == 3


def test_checks_are_never_adjusted(tmp_path: Path) -> None:
    """A check that is 2 cm off, and passes, moves no coordinate."""
    plain, bent = simulate(DAY), simulate(DAY)
    move_rows(bent, ["S01-C1", "S01-C2"], east=0.02, up=0.03)
    one, other = run_simulated(plain, tmp_path / "plain"), run_simulated(bent, tmp_path / "bent")
    assert (one.points.xyz() == other.points.xyz()).all()


def test_a_check_that_is_held_back_proves_nothing(tmp_path: Path) -> None:
    job = simulate(DAY)
    job.rows["solution"] = np.where(job.rows["name"] == "S01-C2", "float", job.rows["solution"])
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {"S01-C2": "not_fixed"}
    assert issue.record["verdict"] == "unclosed"


def test_one_failing_session_makes_the_jobs_verdict_and_not_the_others(tmp_path: Path) -> None:
    job = simulate(replace(DAY, sessions=3))
    job.knock_base(1, 0.5, up=0.2)
    issue = run_simulated(job, tmp_path, code=3)
    assert [row["verdict"] for row in issue.sessions.rows] == ["proven", "failed", "proven"]
    assert issue.record["verdict"] == "failed"
    assert {row["name"][:3] for row in issue.points.rows} == {"S01", "S03"}
    assert {name[:3] for name in issue.reasons()} == {"S02"}


def test_readings_that_all_have_one_time_prove_nothing_and_say_so(tmp_path: Path) -> None:
    """A base that was knocked between the points would show nowhere: a date, or the export's time, is no order."""
    job = simulate(DAY)
    job.rows["time"] = np.full_like(job.rows["time"], job.rows["time"][0])
    issue = run_simulated(job, tmp_path)
    assert set(proofs(issue).values()) == {"unclosed"} and issue.record["verdict"] == "unclosed"
    (note,) = [note for note in issue.record["notes"] if "occupations of marks all have the time" in note]
    assert note.startswith("session session-01: its 3 occupations")


@pytest.mark.parametrize("occupied", [False, True])
def test_a_stated_shift_that_no_mark_tests_is_told_and_proves_nothing(occupied: bool, tmp_path: Path) -> None:
    """It may be that of another day, and the base was set up anew since; with a check on a mark it is proven."""
    job = simulate(replace(DAY, sessions=2))
    second = job.job["session"][1]
    second["shift"] = dict(zip(("east", "north", "up"), map(float, job.shift_enu(1)), strict=True))
    second["ties"] = []
    if not occupied:
        second["checks"] = []
        job.keep(np.flatnonzero((job.rows["session"] == 0) | (job.rows["kind"] == "point")))
    issue = run_simulated(job, tmp_path)
    told = [note for note in issue.record["notes"] if "its shift is stated, and no mark was occupied" in note]
    assert len(told) == (not occupied)
    if told:
        assert told[0].startswith("job.toml:") and "session session-02" in told[0] and "its 10 readings" in told[0]
        assert [row["verdict"] for row in issue.sessions.rows] == ["proven", "unchecked"]
