"""Another day's work under the name of a job that has an issue: the drawing of that issue must not follow it by itself.

A day is told from the same work exported anew by what a surveyor would ask: is any point there again, by its name and
time, or where it lay?
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from first_issue import first_issue
from running import Row, csv_rows, replace_in, write_csv
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.cli.main import app

ONE_DAY = Plan(sessions=1, points=12, ties=1, checks=3, marks=5, noise=False, seed=7)
START, END = "2026-03-01T19:30:00+00:00", "2026-03-02T03:30:00+00:00"


def is_point(row: Row) -> bool:
    return row["Code"] not in ("CM", "CHK")


def later(row: Row, hours: float) -> Row:
    time = datetime.fromisoformat(row["Observed"].replace("Z", "+00:00")) + timedelta(hours=hours)
    return row | {"Observed": time.isoformat()}


def north(row: Row, metres: float) -> Row:
    return row | {"Lat": f"{float(row['Lat']) + metres / 111_111:.11f}"}


def called(row: Row, name: str) -> Row:
    return row | {"Point": name} if is_point(row) else row


def next_day(rows: list[Row], name: str = "{}") -> list[Row]:
    """The same marks a day later, and points at other places, from 10 m on, no two moved alike."""
    moved = [north(row, 10.0 + 3.0 * number) if is_point(row) else row for number, row in enumerate(rows)]
    return [later(called(row, name.format(row["Point"])), 24) for row in moved]


def shift_session(path: Path, hours: float) -> None:
    for moment in (START, END):
        replace_in(path, {moment: (datetime.fromisoformat(moment) + timedelta(hours=hours)).isoformat()})


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job of one day and its first issue."""
    path = simulate(ONE_DAY).write(tmp_path)
    first_issue(path)
    return path


@pytest.mark.parametrize("name", ["Q{}", "{}"])
def test_another_day_in_a_copy_of_the_folder_waits(name: str, job: Path) -> None:
    """Same session, base, register and file; names that go on or start anew: no point of the drawing is there again."""
    export = job.parent / "rover001.csv"
    write_csv(export, next_day(csv_rows(export), name))
    shift_session(job, 24)
    found = run_job(job)
    assert (found.exit_code, found.current, found.record["verdict"]) == (3, 1, "proven")
    quiet = CliRunner().invoke(app, ["run", "--quiet", str(job)])
    said = " ".join(quiet.output.split())
    assert quiet.exit_code == 3
    assert "session session-01 has none of its former points: 12 points of issue 001: 12 withdrawn" in said
    assert "another day in a copy of this job's folder, give it a job of its own" in said
    assert CliRunner().invoke(app, ["release", str(job), "2", "--because", "the first day was a test"]).exit_code == 0
    assert run_job(job).exit_code == 0


def renumbered(row: Row) -> Row:
    return called(row, f"P{100 + int(row['Point'][-2:])}") if is_point(row) else row


_SAME_WORK: dict[str, tuple[Callable[[list[Row]], list[Row]], float]] = {
    "processed again, all raw positions moved": (lambda rows: [north(row, 3.0) for row in rows], 0),
    "numbered in the office": (lambda rows: [renumbered(row) for row in rows], 0),
    "an hour later throughout": (lambda rows: [later(row, 1) for row in rows], 1),
    "a day later throughout, numbered too": (lambda rows: [later(renumbered(row), 24) for row in rows], 24),
    "points named by their codes, an hour later": (lambda rows: [later(called(row, "ROAD"), 1) for row in rows], 1),
}


@pytest.mark.parametrize("how", _SAME_WORK)
def test_the_same_work_exported_anew_is_followed(how: str, job: Path) -> None:
    export = job.parent / "rover001.csv"
    change, hours = _SAME_WORK[how]
    write_csv(export, change(csv_rows(export)))
    shift_session(job, hours)
    found = run_job(job)
    assert (found.exit_code, found.current) == (0, 2), found.record["release"]


def test_a_later_day_that_is_added_is_followed(job: Path) -> None:
    """In the same export, and the session renamed besides."""
    export = job.parent / "rover001.csv"
    rows = csv_rows(export)
    write_csv(export, rows + [row | {"Point": row["Point"].replace("S01", "S02")} for row in next_day(rows)])
    text = job.read_text(encoding="utf-8")
    at = text.index("[[session]]")
    second = text[at : text.index("[[points]]")].replace("S01-", "S02-").replace("session-01", "session-02")
    for moment in (START, END):
        second = second.replace(moment, (datetime.fromisoformat(moment) + timedelta(hours=24)).isoformat())
    job.write_text(text[:at].replace("session-01", "sunday") + second + text[at:], encoding="utf-8")
    found = run_job(job)
    assert (found.exit_code, found.current, found.record["rows"]["points"]) == (0, 2, 24)


def test_the_first_day_taken_out_and_the_second_renamed_is_followed(tmp_path: Path) -> None:
    """A day left out of the job file goes, though its name is the other day's now."""
    path = simulate(Plan(sessions=2, points=6, ties=1, checks=3, marks=5, noise=False, seed=7)).write(tmp_path)
    first_issue(path)
    text = path.read_text(encoding="utf-8")
    first, second = text.index("[[session]]"), text.rindex("[[session]]")
    path.write_text(text[:first] + text[second:].replace("session-02", "session-01"), encoding="utf-8")
    export = tmp_path / "rover001.csv"
    write_csv(export, [row for row in csv_rows(export) if row["Point"].startswith("S02")])
    found = run_job(path)
    assert found.record["release"] is not None and not found.record["release"]["at_stake"]
