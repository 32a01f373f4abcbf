"""A base id that keeps readings out of their session is told as that, with what to write, and never as a clock."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from issued import read_layer
from running import run_written
from simulate import Plan, Simulation, simulate

from pipeline import check_job
from pipeline.problems import JobError
from pipeline.sessions.attach import spelled_alike

SMALL = Plan(sessions=2, points=20, ties=1, checks=2, marks=4, seed=7)


def job_with(change: Callable[[Simulation], None]) -> Simulation:
    """Two days, two bases; the change may write any base id."""
    job = simulate(SMALL)
    job.rows["base"] = job.rows["base"].astype("U12")
    change(job)
    return job


def chosen(job: Simulation, kind: str, session: int) -> np.ndarray:
    return np.flatnonzero((job.rows["kind"] == kind) & (job.rows["session"] == session))


def problems(job: Simulation, folder: Path) -> str:
    with pytest.raises(JobError) as refused:
        check_job(job.write(folder))
    return "\n".join(f"{one.what} -> {one.fix}" for one in refused.value.problems)


def test_an_id_that_no_session_has_is_told_per_file_with_what_to_write(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        job.rows["base"][chosen(job, "point", 0)] = "BASE-X"

    path = job_with(change).write(tmp_path)
    (told,) = check_job(path).warnings
    assert told.startswith("rover001.csv:4: 20 readings carry the base id BASE-X from 2026-03-01 20:30:00 to ")
    assert "session session-01 (base BASE-01)" in told and 'write base = "BASE-X" in session session-01' in told
    issue = run_written(path, code=3)  # no point of that day is left
    assert told in issue.record["notes"]
    held = read_layer(issue.package, "held_back").rows
    assert {row["reason"] for row in held} == {"outside_sessions"} and len(held) == 20
    for row in held:
        assert "with base id BASE-X, in the time of session session-01 (base BASE-01)" in row["detail"]
        assert 'write base = "BASE-X"' in row["detail"] and "time_zone" not in row["detail"]


def test_where_every_reading_has_it_the_refusal_speaks_of_ids_and_not_of_clocks(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        job.rows["base"][:] = "BASE-X"

    text = problems(job_with(change), tmp_path)
    assert "with base id BASE-X; session session-01 has BASE-01" in text
    assert "46 readings carry the base id BASE-X" in text
    assert "time_zone" not in text and "outside its sessions" not in text


def test_without_ties_the_refusal_is_the_same(tmp_path: Path) -> None:
    """Nothing names a point, so that nothing but the job as a whole can be refused."""

    def change(job: Simulation) -> None:
        job.rows["base"][:] = "BASE-X"
        for session in job.job["session"]:
            del session["ties"], session["checks"]
            session["shift"] = "none"

    text = problems(job_with(change), tmp_path)
    assert text.startswith("no reading of the job is in a session: their base ids are not those of the sessions")
    assert "BASE-X" in text and 'write base = "BASE-X"' in text and "time_zone" not in text


@pytest.mark.parametrize("written", ["base 1", "Base01", "base_001", "BASE1", "BASE--01"])
def test_ids_that_differ_in_spelling_only(written: str, tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        job.rows["base"][chosen(job, "point", 0)] = written

    (told,) = check_job(job_with(change).write(tmp_path)).warnings
    assert f'differ in spelling only: write base = "{written}" in session session-01' in told


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [
        ("7", "007", True), ("7", "7.0", True), ("70", "7", False), ("BASE-10", "BASE-1", False), ("A", "B", False),
        ("B 1", "b-1", True), ("", "", False), (None, None, False), ("0", "00", True), ("A-1-2", "A-12", True),
    ],
)  # fmt: skip
def test_what_spelling_alone_is(one: str | None, other: str | None, alike: bool) -> None:
    assert spelled_alike(one, other) is alike


def test_ids_exchanged_between_sessions_that_overlap(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        first, second = job.job["session"]
        first["end"], second["start"] = second["end"], first["start"]
        first["base"], second["base"] = second["base"], first["base"]

    text = problems(job_with(change), tmp_path)
    assert "with base id BASE-01, which makes it one of session session-02; session session-01 has BASE-02" in text
    assert "BASE-01 is the base of session session-02" in text
    assert "time_zone" not in text


def test_the_id_of_another_day_left_in_the_rover(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        job.rows["base"][chosen(job, "point", 1)] = "BASE-01"

    told = check_job(job_with(change).write(tmp_path)).warnings[0]
    assert "BASE-01 is the base of session session-01" in told and "session session-02 (base BASE-02)" in told


def test_an_empty_column_where_sessions_overlap(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        first, second = job.job["session"]
        first["end"], second["start"] = second["end"], first["start"]
        job.rows["base"][chosen(job, "point", 0)[:5]] = ""

    job = job_with(change)
    (told,) = check_job(job.write(tmp_path / "some")).warnings
    assert told.startswith("rover001.csv:4: 5 readings have no base id")
    assert "its column Base is empty there" in told
    job.rows["base"][:] = ""
    assert "give the row its base id (fill in its column Base)" in problems(job, tmp_path / "all")


def test_an_empty_column_where_times_alone_tell(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        job.rows["base"][:] = ""

    (told,) = check_job(job_with(change).write(tmp_path)).warnings
    assert told.startswith("rover001.csv: its column Base has no base id in any row")


def test_an_id_in_the_export_of_a_session_without_one_is_nothing_to_tell(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        del job.job["session"][0]["base"]

    assert check_job(job_with(change).write(tmp_path)).warnings == ()


def test_a_session_whose_id_no_row_has(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        given = {"east": 0.0, "north": 0.0, "up": 0.0, "sigma_horizontal": 0.1, "sigma_vertical": 0.1}
        first = job.job["session"][0]
        spare = {"name": "spare", "base": "BASE-09", "shift": given, "ties": [], "checks": []}
        job.job["session"].append({**first, **spare})

    (told,) = check_job(job_with(change).write(tmp_path)).warnings
    assert told.startswith("session spare: no reading of the job carries its base id BASE-09")


@pytest.mark.parametrize(("session", "own"), [(0, "01"), (1, "02")])
def test_ids_of_another_session_come_before_the_clock(session: int, own: str, tmp_path: Path) -> None:
    """Points of one day carry the base id of the other: their times lie in their own session, 24 h from the other."""
    other = "02" if own == "01" else "01"

    def change(job: Simulation) -> None:
        job.rows["base"][chosen(job, "point", session)] = f"BASE-{other}"

    told = check_job(job_with(change).write(tmp_path)).warnings
    about = [text for text in told if "base id" in text or "fall outside all sessions" in text]
    assert f"20 readings carry the base id BASE-{other}" in about[0]
    assert f"session session-{own} (base BASE-{own}); BASE-{other} is the base of session session-{other}" in about[0]
    assert len(about) == 1  # their times are those of their own session, so that nothing is to be said of a clock


def test_ids_of_another_session_half_a_day_away_are_told_and_then_the_clock(tmp_path: Path) -> None:
    """By hours the rows would fit the other session, whose base's shift would be put on them."""

    def change(job: Simulation) -> None:
        second = job.rows["session"] == 1
        job.rows["time"][second] -= np.timedelta64(12, "h")
        for key in ("start", "end"):
            job.job["session"][1][key] -= dt.timedelta(hours=12)
        job.rows["base"][chosen(job, "point", 1)] = "BASE-01"

    told = check_job(job_with(change).write(tmp_path)).warnings
    ids, clock = (text for text in told if "base id" in text)
    assert "20 readings carry the base id BASE-01" in ids and "BASE-01 is the base of session session-01" in ids
    assert "if their base ids are right, check their clock: with times 12 h earlier all of them" in clock


def test_where_times_lie_in_no_session_the_clock_is_told_alone(tmp_path: Path) -> None:
    def change(job: Simulation) -> None:
        mine = chosen(job, "point", 1)
        job.rows["time"][mine] += np.timedelta64(12, "h")

    told = [text for text in check_job(job_with(change).write(tmp_path)).warnings if "outside all sessions" in text]
    assert len(told) == 1 and "with times 12 h earlier" in told[0] and "base ids are right" not in told[0]
