"""A base knocked by 0.8 m, and closing checks that name no mark: they are never drafting points in silence."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from issued import read_layer
from network_jobs import Network
from running import record_of, replace_in, rewrite_export, run_simulated, run_written
from simulate import Plan, Simulation, simulate

from pipeline import check_job

#: A tie and a check at the opening, twenty points, a check on CM3 at the close.
DAY = Plan(sessions=1, points=20, ties=1, checks=2, marks=4, noise=False)
KNOCK = (0.61, -0.52, 0.02)


def knocked(name: str, code: str, by: Sequence[float] = KNOCK) -> Simulation:
    """The base moves half way; the closing occupation is called and coded as said, and no list names it."""
    job = simulate(DAY)
    for column in ("name", "code"):
        job.rows[column] = job.rows[column].astype("U16")
    job.job["session"][0]["checks"] = []
    job.rows["code"][job.rows["kind"] == "check"] = "CHK"
    late = job.rows["time"] >= np.sort(job.rows["time"])[12]
    enu = np.tile(by, (int(late.sum()), 1))
    job.displace(late, turn_enu(job.rows["longitude"][late], job.rows["latitude"][late], enu))
    closing = job.rows["name"] == "S01-C2"
    job.rows["code"][closing], job.rows["name"][closing] = code, name
    return job


@pytest.mark.parametrize(("name", "code"), [("c17", "CHK"), ("c17", "chk"), ("", "CHK"), ("9", "CHK"), ("CM3b", "DP")])
def test_a_closing_check_that_no_mark_answers_takes_the_proof_away(name: str, code: str, tmp_path: Path) -> None:
    path = knocked(name, code).write(tmp_path)
    (told,) = check_job(path).warnings
    # the knock itself, read off the mark: 0.80 m, to the millimetre or two that the shift's direction turns
    assert "0.80 m away (east +0.6" in told and "CM3" in told and "rover001.csv:24" in told
    issue = run_written(path, 3)
    assert issue.record["verdict"] == "unchecked"
    assert {row["proof"] for row in issue.points.rows} == {"unchecked"}
    assert told in issue.record["notes"]
    (doubt,) = issue.record["doubts"]
    assert (doubt["kind"], doubt["sessions"]) == ("unanswered-check", ["session-01"])
    (held,) = read_layer(issue.package, "held_back").rows
    assert held["reason"] == "suspect" and "CM3" in held["detail"] and "0.80 m away" in held["detail"]
    assert len(issue.points.rows) == 20
    # CHK is what makes it a check: that needs no adding to the codes of checks
    assert ("add the code to checks.codes" in told) is (code == "DP")


@pytest.mark.parametrize("name", ["CM3b", "cm3", "CM3_2", "chk CM3"])
def test_a_check_by_code_that_is_named_after_a_mark_fails_on_it(name: str, tmp_path: Path) -> None:
    issue = run_simulated(knocked(name, "CHK"), tmp_path, code=3)
    row = issue.check_marks.one(point=name)
    assert (row["mark"], row["role"], row["passed"]) == ("CM3", "check", 0)
    assert row["d_horizontal"] == pytest.approx(np.hypot(*KNOCK[:2]), abs=0.005)
    assert issue.record["verdict"] == "failed"


def test_a_mark_column_that_names_no_mark(tmp_path: Path) -> None:
    path = knocked("x9", "DP").write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Mark": "KP9" if row["Point"] == "x9" else "-"})
    replace_in(path, {'code = "Code"': 'code = "Code", mark = "Mark"'})
    (told,) = check_job(path).warnings
    assert "its mark 'KP9' makes it a check" in told and "the nearest is CM3, 0.80 m away" in told
    assert record_of(path, 3)["verdict"] == "unchecked"


def test_confirmed_it_is_a_point_like_others(tmp_path: Path) -> None:
    job = knocked("c17", "CHK", (0.0, 0.0, 0.0))
    away = job.rows["name"] == "c17"
    enu = np.array([[40.0, 0.0, 0.0]])
    job.displace(away, turn_enu(job.rows["longitude"][away], job.rows["latitude"][away], enu))
    job.job["checks"] = {"confirmed": ["unanswered-check"]}
    issue = run_simulated(job, tmp_path)
    assert issue.points.one(name="c17")["code"] == "CHK"
    assert issue.record["doubts"][0]["confirmed"] is True


@pytest.mark.parametrize("name", ["CM3b", "CM3"])
def test_a_point_on_the_mark_that_it_is_named_after_is_told(name: str, tmp_path: Path) -> None:
    path = knocked(name, "DP", (0.0, 0.0, 0.0)).write(tmp_path)
    (told,) = check_job(path).warnings
    assert told.startswith(f"{name} (rover001.csv:24): named after the mark CM3 and on it, 0.00 m away")
    issue = run_written(path)
    assert told in issue.record["notes"] and issue.points.one(name=name)["code"] == "DP"


def test_ordinary_points_that_share_letters_or_numbers_with_marks_are_left_alone(tmp_path: Path) -> None:
    """Points numbered like the marks, and one named after a mark a long way off."""
    job = simulate(DAY)
    job.rows["name"] = job.rows["name"].astype("U16")
    points = np.flatnonzero(job.rows["kind"] == "point")
    for row, name in zip(points, ["CM10", "CM11", "CM1a", "CM2-5", "1", "2", "CM40", "CM2 fence"], strict=False):
        job.rows["name"][row] = name
    path = job.write(tmp_path)
    assert check_job(path).warnings == ()
    issue = run_written(path)
    assert issue.record["verdict"] == "proven" and len(issue.points.rows) == 20 and not issue.record["doubts"]


def test_checks_by_code_on_a_temporary_mark_are_no_alarm(tmp_path: Path) -> None:
    """A peg that two sessions tie, occupied again under the check code: nothing is known of it, nothing doubted."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM2", 500, 0)
    work.mark("TM1", 400, -300, known=False)
    for name in "ab":
        work.session(name, ties=["CM1", "TM1"], points=[(10, 10), (400, -300)], closing=["CM2"])
    work.rows["code"] = np.where(work.row("b-2"), "CHK", work.rows["code"])
    issue = run_written(work.write(tmp_path))
    row = issue.check_marks.one(point="b-2")
    assert (row["mark"], row["role"], row["passed"]) == ("TM1", "check", None)
    assert issue.points.one(name="a-2") and not issue.record["doubts"] and issue.record["verdict"] == "proven"


def _with_column(path: Path, closing: str, other: str = "") -> Path:
    """Let the export have a column that the job does not map: the marks of the opening, and something in other rows."""
    said = {"S01-T1": "CM1", "S01-C1": "CM2", "c17": closing}
    rewrite_export(path.parent / "rover001.csv", lambda row: row | {"Station": said.get(row["Point"], other)})
    return path


@pytest.mark.parametrize("closing", ["CM3", "cm3", "CM3-2", "CM3 close"])
def test_a_closing_mark_in_a_column_that_nothing_maps_is_no_point_in_silence(closing: str, tmp_path: Path) -> None:
    """Where the job maps a counter to ``name``, the marks stand beside it."""
    path = _with_column(knocked("c17", "DP").write(tmp_path), closing)
    (told,) = check_job(path).warnings
    assert "its unmapped column 'Station' gives CM3" in told and "0.80 m away" in told
    issue = run_written(path, 3)
    assert issue.record["doubts"][0]["kind"] == "unanswered-check"
    (held,) = read_layer(issue.package, "held_back").rows
    assert held["name"] == "c17" and len(issue.points.rows) == 20


@pytest.mark.parametrize(
    ("closing", "other", "by"),
    [
        ("CM3", "", (0.0, 0.0, 0.0)),  # it agrees: reported, not doubted
        ("CM3-N", "", KNOCK),  # a witness mark
        ("CM3", "CM2", KNOCK),  # the mark that points are measured from
        ("CM3", "", (30.0, 0.0, 0.0)),  # what lies elsewhere is said of something else
    ],
)
def test_columns_that_say_something_else_raise_no_doubt(
    closing: str, other: str, by: Sequence[float], tmp_path: Path
) -> None:
    job = knocked("c17", "DP", (0.0, 0.0, 0.0))
    away = job.rows["name"] == "c17"
    at = job.rows["longitude"][away], job.rows["latitude"][away]
    job.displace(away, turn_enu(*at, np.array([by])))
    record = record_of(_with_column(job.write(tmp_path), closing, other), 0)
    assert not record["doubts"]


def test_marks_that_are_called_by_numbers_are_found_in_such_a_column_too(tmp_path: Path) -> None:
    job = knocked("c17", "DP")
    job.register["mark"] = np.array([name.replace("CM", "910") for name in job.register["mark"].tolist()])
    for session in job.job["session"]:
        session["ties"] = [one | {"mark": one["mark"].replace("CM", "910")} for one in session["ties"]]
    path = _with_column(job.write(tmp_path), "9103")
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Station": row["Station"].replace("CM", "910")})
    (told,) = check_job(path).warnings
    assert "gives 9103" in told and "0.80 m away" in told


def _renamed(job: Simulation, names: dict[str, str]) -> None:
    for old, new in names.items():
        job.rows["name"][job.rows["name"] == old] = new
    for role in ("ties", "checks"):
        listed = job.job["session"][0][role]
        job.job["session"][0][role] = [one | {"point": names.get(one["point"], one["point"])} for one in listed]


@pytest.mark.parametrize("east", [0.34, 1.5, 3.3])
@pytest.mark.parametrize("where", ["remarks alone", "remarks and names", "code", "occupied by its name"])
def test_posts_and_pegs_measured_around_a_mark_are_no_checks_of_it(where: str, east: float, tmp_path: Path) -> None:
    """Reference posts and a peg set for a mark say which one it is; a counter beside which marks stand is no name."""
    job = knocked("W1", "POST", (0.0, 0.0, 0.0))
    post, tie = (job.rows["name"] == name for name in ("W1", "S01-T1"))
    marks, said = ("CM3", "CM4"), {"W1": "CM3"}
    if where == "remarks and names":
        _renamed(job, {"S01-T1": "CM1-AM"})
        said |= {"CM1-AM": "CM1", "S01-C1": "CM2"}
    if where == "occupied by its name":
        job.job["session"][0]["checks"] = [{"point": "S01-C1", "mark": "CM2"}]
        _renamed(job, {"S01-T1": "CM1-AM"})
        said = {"CM1-AM": "CM1", "S01-C1": "CM2", "W1": "CM1"}
        for column in ("longitude", "latitude", "height"):
            job.rows[column][post] = job.rows[column][tie]
    at = job.rows["longitude"][post], job.rows["latitude"][post]
    job.displace(post, turn_enu(*at, np.array([[east, 0.0, 0.0]])))
    other = job.rows["name"][np.flatnonzero(job.rows["kind"] == "point")[3]]
    said[str(other)] = marks[1]  # a point that is far from its mark, so that several are named
    path = job.write(tmp_path)
    column = "Code" if where == "code" else "Remark"
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {column: said.get(row["Point"], row.get(column, ""))})
    assert not [one for one in record_of(path, 0)["doubts"] if one["kind"] == "unanswered-check"]


def test_a_name_that_bears_its_mark_among_counters_hides_none_of_them(tmp_path: Path) -> None:
    """Half of the listed readings name their marks beside the counter alone."""
    job = knocked("c17", "DP")
    job.job["session"][0]["checks"] = [{"point": "S01-C1", "mark": "CM2"}]
    _renamed(job, {"S01-T1": "CM1-AM"})
    path = job.write(tmp_path)
    said = {"CM1-AM": "CM1", "S01-C1": "CM2", "c17": "CM3"}
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Station": said.get(row["Point"], "")})
    (told,) = check_job(path).warnings
    assert "its unmapped column 'Station' gives CM3" in told


@pytest.mark.parametrize(("nameless", "told"), [(0, False), (1, True), (2, True), (9, False), (20, False)])
def test_a_few_readings_without_a_name_are_told_of(nameless: int, told: bool, tmp_path: Path) -> None:
    """One or two of twenty are a slip; where half have none, none is meant."""
    job = simulate(DAY)
    points = np.flatnonzero(job.rows["kind"] == "point")[:nameless]
    job.rows["name"][points] = ""
    issue = run_simulated(job, tmp_path)
    notes = [note for note in issue.record["notes"] if "no name" in note]
    assert len(notes) == told and len(issue.points.rows) == 20
    if told:
        some = {1: "1 row has no name", 2: "2 rows have no name"}[nameless]
        assert notes[0].startswith(f"rover001.csv:{points[0] + 2}: {some} (first one here)")
