"""A check that failed in the last issue and is judged by nothing any more: its points are not released for that."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from every import every
from first_issue import run_once
from record_of_before import as_schema_7
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.run.run_job import Outcome

#: Metres that the late readings are off: the base was knocked.
KNOCK = 0.3
PLAN = Plan(sessions=1, points=20, ties=1, checks=4, marks=6, noise=False)


def knocked(*, up: float = KNOCK, east: float = 0.0) -> Simulation:
    """The base moves after the opening checks and twelve points; both closing checks fail. No code is one of checks."""
    job = simulate(PLAN)
    job.rows["code"] = job.rows["code"].astype("U16")
    job.rows["code"][job.rows["kind"] != "point"] = "CTL"
    late = job.rows["time"] >= np.sort(job.rows["time"])[15]
    enu = np.tile((east, 0.0, up), (int(late.sum()), 1))
    job.displace(late, turn_enu(job.rows["longitude"][late], job.rows["latitude"][late], enu))
    session = job.job["session"][0]
    closing = [name for name in job.rows["name"][job.rows["kind"] == "check"].tolist()][-2:]
    job.rows["name"] = job.rows["name"].astype("U16")
    session["checks"] = [one for one in session["checks"] if one["point"] != closing[0]]  # one closing check is enough
    job.keep(job.rows["name"] != closing[0])
    return job


def closing(job: Simulation) -> dict[str, str]:
    """Return the last check of the list: point and mark."""
    found: dict[str, str] = job.job["session"][0]["checks"][-1]
    return found


def out_of_register(job: Simulation) -> None:
    """The mark leaves register and list; the reading stays in the export."""
    mark = closing(job)["mark"]
    kept = job.register["mark"] != mark
    job.register = {column: values[kept] for column, values in job.register.items()}
    session = job.job["session"][0]
    session["checks"] = [one for one in session["checks"] if one["mark"] != mark]


def holds_position(job: Simulation) -> None:
    job.register["holds"] = np.where(job.register["mark"] == closing(job)["mark"], "position", "3d")


def second_tie(job: Simulation) -> None:
    session = job.job["session"][0]
    session["ties"] = [*session["ties"], session["checks"].pop()]


def own_session(job: Simulation) -> None:
    """Two shifts of one base then, 0.3 m apart; nothing checks the second."""
    session = job.job["session"][0]
    at = job.rows["time"][job.rows["name"] == closing(job)["point"]][0].astype("datetime64[ms]").astype(dt.datetime)
    part = {**session, "name": "closing", "start": at.replace(tzinfo=dt.UTC) - dt.timedelta(minutes=1), "checks": []}
    part["ties"] = [session["checks"].pop()]
    session["end"] = part["start"]
    job.job["session"] = [session, part]


def doubts(outcome: Outcome) -> list[str]:
    return [
        one["what"] for one in outcome.record["doubts"] if not one["confirmed"] and " failed in issue " in one["what"]
    ]


CHANGES = [
    (out_of_register, "is no longer an occupation in the job: it now counts as a point"),
    (holds_position, "is no longer tested in height"),
    (second_tie, "is now a tie, and differs by 0.300 m in height from"),
    (own_session, "is now a tie, and not every session that it concerns has a passing check"),
]


def issued_twice(folder: Path, change: Callable[[Simulation], None], job: Simulation | None = None) -> tuple[Path, str]:
    job = job or knocked()
    point, path = closing(job)["point"], job.write(folder)
    first = run_once(path)
    assert first.exit_code == 3 and [one["point"] for one in first.record["checks"] if one["passed"] is False] == [
        point
    ]
    change(job)
    return job.write(folder), point


@pytest.mark.parametrize("updated", [False, True], ids=["the same version", "updated in between"])
@pytest.mark.parametrize(("change", "says"), CHANGES)
def test_a_failing_check_that_nothing_judges_is_a_doubt_until_confirmed(
    change: Callable[[Simulation], None], says: str, updated: bool, tmp_path: Path
) -> None:
    path, point = issued_twice(tmp_path, change)
    second = run_once(path)
    (what,) = doubts(second)
    assert what.startswith(f"{point} on CM") and f"failed in issue 001 and {says}" in what
    assert second.exit_code == 3 and {one["verdict"] for one in second.record["sessions"]} <= {"unchecked", "failed"}
    if updated:
        as_schema_7(tmp_path / "out")
    # whatever else changes, it is taken along
    for export in tmp_path.glob("rover*.csv"):
        text = export.read_text(encoding="utf-8")
        export.write_text(text.replace("S01-00001", "S01-0000A"), encoding="utf-8")
    third = run_job(path)
    assert third.record["issue"] == 3 and third.exit_code == 3
    (again,) = doubts(third)
    assert again == what
    path.write_text(path.read_text(encoding="utf-8") + '\n[checks]\nconfirmed = ["unanswered-check"]\n', "utf-8")
    assert doubts(run_job(path, dry_run=True)) == []


def test_what_was_out_for_an_issue_is_asked_for_what_had_failed_of_it(tmp_path: Path) -> None:
    """The reading is left out, and is back once its mark holds no height any more, in which it had failed."""
    job = knocked()
    rows, session = {column: values.copy() for column, values in job.rows.items()}, dict(job.job["session"][0])

    def left_out(job: Simulation) -> None:
        point = closing(job)["point"]
        job.keep(job.rows["name"] != point)
        job.job["session"][0] = session | {"checks": [one for one in session["checks"] if one["point"] != point]}

    path, _ = issued_twice(tmp_path, left_out, job)
    assert run_job(path).exit_code == 3
    job.rows, job.job["session"][0] = rows, session
    holds_position(job)
    third = run_job(job.write(tmp_path))
    (what,) = doubts(third)
    assert third.exit_code == 3 and "failed in issue 001 and is no longer tested in height" in what


def test_a_mark_renamed_with_its_occupation_is_asked_for_what_failed(tmp_path: Path) -> None:
    """It holds its position alone under the new name; the reading, off in height, has another name as well."""

    def renamed(job: Simulation) -> None:
        holds_position(job)
        found = closing(job)
        job.register["mark"] = np.where(job.register["mark"] == found["mark"], "Q7", job.register["mark"])
        job.rows["name"] = np.where(job.rows["name"] == found["point"], "Q7-A", job.rows["name"])
        session = job.job["session"][0]
        renamed = [one | {"mark": "Q7"} if one["mark"] == found["mark"] else one for one in session["checks"]]
        session["checks"] = [*renamed[:-1], {"point": "Q7-A", "mark": "Q7"}]

    path, _ = issued_twice(tmp_path, renamed)
    second = run_job(path)
    (what,) = doubts(second)
    assert "is no longer tested in height" in what and second.exit_code == 3


def test_a_mark_that_holds_its_height_alone_after_the_position_failed(tmp_path: Path) -> None:
    def holds_height(job: Simulation) -> None:
        job.register["holds"] = np.where(job.register["mark"] == closing(job)["mark"], "height", "3d")

    path, _ = issued_twice(tmp_path, holds_height, knocked(up=0.0, east=KNOCK))
    (what,) = doubts(run_job(path))
    assert "is no longer tested in position" in what


def wrong_register(column: str = "height") -> Simulation:
    """Nothing moved; the mark of the closing check was mistyped."""
    job = knocked(up=0.0)
    job.mistype(closing(job)["mark"], column, 0.5)
    return job


def put_right(job: Simulation) -> None:
    job.mistype(closing(job)["mark"], "height", -0.5)


def tied_once_put_right(job: Simulation) -> None:
    put_right(job)
    second_tie(job)


def exchanged(job: Simulation) -> None:
    """The check ties now, and the tie is a check that passes."""
    put_right(job)
    session = job.job["session"][0]
    session["ties"], session["checks"] = [session["checks"][-1]], [*session["checks"][:-1], *session["ties"]]


@pytest.mark.parametrize("change", [put_right, tied_once_put_right, exchanged])
def test_a_failing_check_whose_mark_was_put_right_is_answered(
    change: Callable[[Simulation], None], tmp_path: Path
) -> None:
    path, _ = issued_twice(tmp_path, change, wrong_register())
    second = run_job(path)
    assert (second.exit_code, doubts(second)) == (0, [])


def test_a_session_split_where_the_base_moved_is_answered_by_the_checks_of_its_parts(tmp_path: Path) -> None:
    job = simulate(PLAN)
    job.rows["code"] = np.where(job.rows["kind"] == "point", job.rows["code"], "CTL")
    times = np.sort(job.rows["time"])
    late = job.rows["time"] >= times[15]
    enu = np.tile((0.0, 0.0, KNOCK), (int(late.sum()), 1))
    job.displace(late, turn_enu(job.rows["longitude"][late], job.rows["latitude"][late], enu))
    path = job.write(tmp_path)
    first = run_job(path)
    session = job.job["session"][0]
    failing = {one["point"] for one in first.record["checks"] if one["passed"] is False}
    assert first.exit_code == 3 and len(failing) == 2
    at = times[15].astype("datetime64[ms]").astype(dt.datetime).replace(tzinfo=dt.UTC) - dt.timedelta(seconds=1)
    after = [one for one in session["checks"] if one["point"] in failing]
    part = {**session, "name": "moved", "start": at, "ties": after[:1], "checks": after[1:]}
    session["checks"] = [one for one in session["checks"] if one["point"] not in failing]
    session["end"] = at
    job.job["session"] = [session, part]
    second = run_job(job.write(tmp_path))
    assert doubts(second) == [] and second.record["doubts"] == []
    assert all(one["passed"] for one in every(second.record["checks"])) and second.exit_code == 0


def test_a_mark_that_never_held_its_height_is_not_asked_for_it(tmp_path: Path) -> None:
    job = knocked(up=0.0)
    mark = closing(job)["mark"]
    job.register["holds"] = np.where(job.register["mark"] == mark, "position", "3d")
    job.mistype(mark, "height", 2.0)
    job.mistype(mark, "easting", 0.5)
    path, _ = issued_twice(tmp_path, lambda made: made.mistype(mark, "easting", -0.5), job)
    second = run_job(path)
    assert (second.exit_code, doubts(second)) == (0, [])
