"""Planted blunders are read for what they are, and a session whose base moved can be split as the record says."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from blunder_kinds import BLUNDERS, RANDOM
from blunder_run import run_one
from blunder_world import draw
from network_jobs import Network
from running import paste_session, record_of
from simulate import Plan, Simulation, simulate
from simulate_plan import turn_enu

from pipeline import Outcome, run_job
from pipeline.blunders import diagnose
from pipeline.cli.issue_summary import summary
from pipeline.issue.attention import Kind, attention
from pipeline.problems import JobError


@pytest.mark.parametrize("kind", BLUNDERS)
def test_a_planted_blunder_is_detected_and_read(kind: str) -> None:
    """One job of `tests/blunders/measure.py` for each kind; the right cause comes first, or shares the first place."""
    found = run_one((kind, 0))
    assert found.detected and found.shared, found


@pytest.mark.parametrize("kind", RANDOM)
def test_no_reason_is_made_up_for_an_error_that_has_none(kind: str) -> None:
    found = run_one((f"unexplained: {kind}", 0))
    assert found.detected and found.shared, found


def test_clean_jobs_have_nothing_to_read() -> None:
    assert [run_one(("clean", number)).alarm for number in range(8)] == [""] * 8


# --- a mark out of reach --------------------------------------------------------------------------------------------


def test_a_check_on_a_mark_that_no_operation_reaches_fails(tmp_path: Path) -> None:
    """Beyond the geoid grid nothing can be compared, which is no pass; the typing is read from what was seen."""
    job = simulate(Plan(sessions=1, points=8, ties=1, checks=2, marks=3, seed=4))
    checks = job.job["session"][0]["checks"]
    job.mistype(checks[-1]["mark"], "northing", 3_000_000.0)
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert record["verdict"] == "failed"
    (failing,) = [check for check in record["checks"] if check["passed"] is False]
    assert failing["point"] == checks[-1]["point"]
    assert f"{checks[-1]['mark']}'s northing was typed with one digit wrong" in failing["cause"]


# --- a base that moved ----------------------------------------------------------------------------------------------


def knocked(checks: int, **plan: Any) -> Simulation:
    """One base is knocked in the middle of its day; with four checks two are made after it, with three one."""
    job = simulate(Plan(points=40, ties=1, checks=checks, marks=4, seed=5, **plan))
    job.knock_base(0, 0.5, east=0.21, north=-0.13, up=0.05)
    return job


def agreeing(path: Path) -> Outcome:
    """Run a job in which every check must pass; points between two sessions may all be held back."""
    outcome = run_job(path, dry_run=True)
    assert not any(check["passed"] is False for check in outcome.record["checks"])
    assert {one.kind for one in attention(outcome.record)} <= {Kind.WHOLLY}
    return outcome


@pytest.mark.parametrize("checks", [3, 4])
@pytest.mark.parametrize("overlap", [False, True])
def test_splitting_the_session_as_the_record_says_makes_the_job_pass(
    tmp_path: Path, checks: int, overlap: bool
) -> None:
    """With one late occupation and with two; alone, and beside another base at the same hours."""
    job = knocked(checks, sessions=2, overlap=overlap)
    path = job.write(tmp_path)
    first = run_job(path, dry_run=True)
    assert first.exit_code == 3
    (diagnosis,) = first.record["diagnoses"]
    kinds = [reading["kind"] for reading in diagnosis["explanations"]]
    moved = diagnosis["explanations"][kinds.index("base moved")]
    # one late mark alone: the base or that occupation, nobody can tell; the text says what would decide
    assert moved["score"] - diagnosis["explanations"][0]["score"] < 2 * np.log(10)
    assert checks == 3 or (kinds[0] == "base moved" and "point unexplained" not in kinds)
    # the difference is observed minus known: the points move against the base
    shown = [moved["largest"][axis] for axis in ("d_east", "d_north", "d_height")]
    np.testing.assert_allclose(shown, [-0.21, 0.13, -0.05], rtol=0, atol=0.03)
    paste_session(path, "session-01", diagnosis["split"])
    second = agreeing(path)
    # every point lies between the last good and the first bad occupation, where nobody knows when the base moved
    assert second.record["rows"]["by_reason"] == {"outside_sessions": 40}
    assert {session["session"] for session in second.record["sessions"]} >= {"session-01", "session-01-2"}


def test_one_late_occupation_says_what_would_decide(tmp_path: Path) -> None:
    record = run_job(knocked(3, sessions=1).write(tmp_path), dry_run=True).record
    (cause,) = [check["cause"] for check in record["checks"] if check["cause"]]
    assert "the base appears to have moved" in cause and "alone is" in cause
    assert "to decide: " in cause and "occupied again: it fails too if the base moved" in cause


def test_a_session_of_a_csv_is_split_in_the_same_lines(tmp_path: Path) -> None:
    path = knocked(4, sessions=1).write(tmp_path, session_file=True)
    (diagnosis,) = run_job(path, dry_run=True).record["diagnoses"]
    lines = diagnosis["split"].splitlines()
    assert lines[1] == "# sessions are in sessions.csv: write these as its rows, with the same names as columns"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('[sessions]\nfile = "sessions.csv"\n', diagnosis["split"]), encoding="utf-8")
    agreeing(path)


def test_a_split_session_keeps_its_set_up_before_and_its_field_shift_after(tmp_path: Path) -> None:
    """The base stood over a mark until it moved; what the field applied goes on."""
    world = next(w for seed in range(500) if _fits(w := draw(seed)))
    job = world.job
    table = job.job["session"][0]
    rows, late = job.rows, world.checks(0)[-1]["point"]
    at = rows["time"][world.row(late)] - np.timedelta64(60, "s")
    chosen = (rows["session"] == 0) & (rows["time"] >= at)
    job.displace(chosen, job.shifts[0] * 0 + 0.25)
    start = table["start"]
    table["field_shift"] = {"from": start, "east": 0.0, "north": 0.0, "up": 0.0}
    path = world.write(tmp_path)
    (diagnosis,) = run_job(path, dry_run=True).record["diagnoses"]
    early, after = diagnosis["split"].split("\n\n")
    assert "setup = {" in early and "setup" not in after
    assert "field_shift = {" in early and "field_shift = {" in after
    paste_session(path, table["name"], diagnosis["split"])
    agreeing(path)


def _fits(world: Any) -> bool:
    table = world.job.job["session"][0]
    marks = [check["mark"] for check in world.checks(0)]
    apart = len(set(marks)) == len(marks) > 2 and not world.job.plan.overlap
    return "setup" in table and not table.get("ties") and apart and len(world.sessions()) == 1


def split_of(path: Path) -> str:
    (lines,) = [said["split"] for said in run_job(path, dry_run=True).record["diagnoses"] if said["split"]]
    return str(lines)


def test_a_temporary_mark_in_a_split_session_ties_it_and_is_no_check(tmp_path: Path) -> None:
    """Occupied before the base was knocked and after: a check on it would be refused, it is in no register."""
    job = simulate(Plan(sessions=3, points=40, ties=2, checks=4, marks=6, seed=3, noise=False, temporary=True))
    job.knock_base(0, 0.5, east=0.08)
    again(job, "S01-TM1", "S01-TM1B", east=0.08, north=0.0)
    job.job["session"][0]["ties"].append({"point": "S01-TM1B", "mark": "TM1"})
    path = job.write(tmp_path)
    lines = split_of(path)
    early, late = tomllib.loads(lines)["session"]
    assert [tie["mark"] for tie in early["ties"]].count("TM1") == 1
    assert {"point": "S01-TM1B", "mark": "TM1"} in late["ties"]
    assert "TM1" not in {check["mark"] for part in (early, late) for check in part.get("checks", [])}
    paste_session(path, "session-01", lines)
    agreeing(path)


def again(job: Simulation, name: str, new: str, east: float, north: float) -> None:
    """Occupy the mark under a point of the first session once more, at its end, by a base that was knocked by then."""
    rows = job.rows
    last = int(np.flatnonzero(rows["session"] == 0)[-1])
    job.rows = {key: np.insert(of, last, of[list(rows["name"]).index(name)]) for key, of in rows.items()}
    job.rows["name"] = job.rows["name"].astype("U16")
    job.rows["name"][last], job.rows["time"][last] = new, job.rows["time"][last + 1] - np.timedelta64(60, "s")
    at = job.bases
    moved = turn_enu(at.longitude[0], at.latitude[0], np.array([east, north, 0.0]))
    job.displace(np.arange(len(job.rows["name"])) == last, -moved)


@pytest.mark.parametrize(
    ("name", "says"),
    [("CHECK", 'is one of several named "CHECK": give it a name of its own'),
     ("", "has no name: give it a name of its own")],
)  # fmt: skip
def test_checks_found_by_code_that_no_name_tells_apart_are_not_listed(tmp_path: Path, name: str, says: str) -> None:
    """All four under one name, or none: a job that lists them is refused. Given names of their own, they are."""
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=4, marks=6, seed=3, noise=False))
    job.knock_base(0, 0.5, east=0.2, north=0.1)
    checks = job.rows["kind"] == "check"
    own = job.rows["name"][checks]
    job.rows["name"][checks], job.job["session"][0]["checks"] = name, []
    lines = split_of(job.write(tmp_path / "alike"))
    early, late = tomllib.loads(lines)["session"]
    assert [tie["point"] for tie in early["ties"]] == ["S01-T1"]
    assert "checks" not in early and "ties" not in late and "checks" not in late
    (hint,) = [line for line in lines.splitlines() if line.startswith("# ties")]
    time = min(job.rows["time"][checks][2:]).astype("datetime64[s]").item()
    assert hint.startswith('# ties = [...]   the reading on "CM') and f" at {time} UTC {says}" in hint
    # one of the late two told apart: the first that a name stands for alone is the tie, and nothing is left to ask
    job.rows["name"][np.flatnonzero(checks)[-1]] = own[-1]
    path = job.write(tmp_path / "apart")
    lines = split_of(path)
    assert [tie["point"] for tie in tomllib.loads(lines)["session"][1]["ties"]] == [name or own[-1]]
    assert "# ties" not in lines
    paste_session(path, "session-01", lines)
    agreeing(path)


def test_a_name_on_one_mark_twice_is_listed_once(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=4, marks=6, seed=3, noise=False))
    job.knock_base(0, 0.5, east=0.2, north=0.1)
    again(job, "S01-T1", "CM1", east=0.2, north=0.1)
    again(job, "S01-T1", "CM1", east=0.2, north=0.1)
    job.rows["code"][job.rows["name"] == "CM1"] = job.rows["code"][job.rows["kind"] == "check"][0]
    path = job.write(tmp_path)
    lines = split_of(path)
    assert lines.count('{ point = "CM1", mark = "CM1" }') == 1
    paste_session(path, "session-01", lines)
    agreeing(path)


@pytest.mark.parametrize("sign", ["\n", "\u2028", "\x85", "\x1c"])
def test_a_sessions_name_stays_within_its_line(sign: str, tmp_path: Path) -> None:
    """Whatever ends a line somewhere, for Python or a terminal, is in no name that stands in a line."""
    job = knocked(4, sessions=1)
    job.job["session"][0]["name"] = f"a{sign}b = 1"
    with pytest.raises(JobError, match="control character"):
        run_job(job.write(tmp_path))


def test_the_summary_prints_the_split_once_under_the_failing_check(tmp_path: Path) -> None:
    outcome = run_job(knocked(4, sessions=1).write(tmp_path), dry_run=True)
    text = summary(outcome.record, outcome.headline)
    (diagnosis,) = outcome.record["diagnoses"]
    block = "\n".join(f"    {line}".rstrip() for line in diagnosis["split"].splitlines())
    assert text.count(block) == 1
    assert text.index("FAILS: S01-C3") < text.index(block) < text.index("FAILS: S01-C4")


def test_too_many_sessions_to_be_explained_together_are_said_to_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two sessions fail by the mark that ties both: together it explains all, apart each is told to have been so."""
    work = Network()
    for name, at in {"CM1": (0, 0), "CM2": (500, 300), "CM3": (-400, 600)}.items():
        work.mark(name, *at)
    for name in ("one", "two"):
        work.session(name, ties=["CM1"], checks=["CM2"], closing=["CM3"], points=[(100, 100)])
    work.register["height"][0] += 0.5
    path = work.write(tmp_path)
    said = "the sessions that fail on its ties are too many to be explained together"
    for most, told in ((250, 0), (3, 2)):
        monkeypatch.setattr(diagnose, "_TOGETHER", most)
        checks = record_of(path, code=3)["checks"]
        causes = {check["session"]: check["cause"] for check in checks if check["passed"] is False}
        assert sum(said in str(cause) for cause in causes.values()) == told, causes
