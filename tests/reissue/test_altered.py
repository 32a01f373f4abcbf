"""An issue that somebody edited: the next one is right, needs attention, and blames no session or mark for the edit."""

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from altered import change
from command import tiedown
from every import every
from issued import Issue, current_issue
from running import run_written
from simulate import Plan, Simulation, simulate

from pipeline import run_job

REASON = "simulated-001.gpkg is not what was issued"
EDITED = "S01-00003"


def issued(folder: Path) -> tuple[Simulation, Path, Issue]:
    """A first issue of two sessions that hang on one mark."""
    job = simulate(Plan(sessions=2, points=6))
    path = job.write(folder)
    return job, path, run_written(path)


def changes(issue: Issue) -> dict[str, dict[str, Any]]:
    """Return the rows of the layer by name; it has one for each point."""
    with closing(sqlite3.connect(issue.package)) as file:
        file.row_factory = sqlite3.Row
        rows = [dict(row) for row in file.execute("SELECT * FROM changes")]
    assert len({row["name"] for row in rows}) == len(rows)
    return {row["name"]: row for row in rows}


def with_the_second_changed(job: Simulation, path: Path) -> Path:
    """Take a check out of the second session, which reaches no number of the first."""
    job.job["session"][1]["checks"].pop()
    return job.write(path.parent)


def stands(path: Path, what: str) -> None:
    """The issue needs attention, wherever one looks, and still does when nothing has changed since."""
    assert not (again := run_job(path)).issued and again.exit_code == 3
    quiet = tiedown("run", path, "--quiet")
    assert quiet.exit_code == 3 and "ALTERED: " in quiet.output and what in " ".join(quiet.output.split())
    office = tiedown("office", path, "--to", path.with_name("office.html"))
    assert office.exit_code == 3 and "none needs attention" not in office.output
    page = current_issue(path.parent / "out").folder.joinpath("simulated-002.html").read_text(encoding="utf-8")
    assert "simulated-001.gpkg of issue 001: " in page


EDITS = {
    "moved": f"UPDATE points SET easting = easting + 5 WHERE name = '{EDITED}'",
    "added": f"DELETE FROM points WHERE name = '{EDITED}'",
}


@pytest.mark.parametrize("kind", EDITS)
def test_an_edit_is_no_doing_of_another_session(kind: str, tmp_path: Path) -> None:
    job, path, first = issued(tmp_path)
    was = first.points.one(name=EDITED)
    change(first.package, EDITS[kind])
    assert tiedown("run", path).exit_code == 2  # with nothing else changed there is no other issue
    second = run_written(with_the_second_changed(job, path), code=3)
    row = changes(second)[EDITED]
    assert (row["change"], row["because"]) == (kind, REASON)
    if kind == "moved":
        assert row["d_east"] == pytest.approx(-5.0, abs=1e-9)
    assert second.points.one(name=EDITED)["easting"] == was["easting"]
    history = tiedown("history", path).output
    assert "simulated-001.gpkg is not what was issued" in " ".join(history.split())
    stands(path, "changes are reported relative to the file as it is now")


def test_beside_what_reaches_a_point_the_edit_is_named_too(tmp_path: Path) -> None:
    job, _, first = issued(tmp_path)
    change(first.package, EDITS["moved"])
    job.mistype("CM1", "height", 0.006)
    second = run_written(job.write(tmp_path), code=3)
    row = changes(second)[EDITED]
    assert row["because"].startswith("CM1 height ") and row["because"].endswith(f"; {REASON}")


def cut(package: Path) -> None:
    package.write_bytes(package.read_bytes()[:20_000])


def drop(package: Path) -> None:
    with closing(sqlite3.connect(package)) as file, file:
        file.execute("DROP TABLE points")


LOST: dict[str, Callable[[Path], object]] = {
    "deleted": Path.unlink,
    "cut short": cut,
    "without its points": drop,
}


@pytest.mark.parametrize("how", LOST)
def test_points_that_cannot_be_read_any_more(how: str, tmp_path: Path) -> None:
    """In a process of its own: nothing but the program's own words is heard."""
    job, path, first = issued(tmp_path)
    was = first.points.one(name=EDITED)
    LOST[how](first.package)
    path = with_the_second_changed(job, path)
    done = subprocess.run(
        [sys.executable, "-m", "pipeline.cli.start", "run", str(path), "--quiet"], capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (3, "")
    assert "points moved since cannot be listed" in " ".join(done.stdout.split())
    second = current_issue(tmp_path / "out")
    assert second.points.one(name=EDITED)["easting"] == was["easting"]
    stands(path, "points moved since cannot be listed")


@pytest.mark.parametrize("name", ["simulated-001.html", "simulated-001.csv"])
def test_what_misleads_nobody_is_noted_and_no_more(name: str, tmp_path: Path) -> None:
    """A page that somebody wrote into, and a copy for a spreadsheet that was deleted."""
    job = simulate(Plan(sessions=2, points=6))
    job.job["issue"] = {"formats": ["gpkg", "csv"]}
    path = job.write(tmp_path)
    file = run_written(path).folder / name
    if file.suffix == ".html":
        file.write_text(file.read_text(encoding="utf-8") + " ", encoding="utf-8")
    else:
        file.unlink()
    second = run_written(with_the_second_changed(job, path))
    assert any(name in note and "issue 001 is damaged" in note for note in second.record["notes"])
    assert second.record["changes"]["altered"] == [] and not changes(second)


def test_coordinates_that_somebody_wrote_into_a_drawing_are_told_and_reach_no_row(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=6))
    job.job["issue"] = {"formats": ["gpkg", "csv"]}
    path = job.write(tmp_path)
    file = run_written(path).folder / "simulated-001.csv"
    file.write_text(file.read_text(encoding="utf-8").replace(EDITED, "S01-00009"), encoding="utf-8")
    job.mistype("CM1", "height", 0.006)
    second = run_written(job.write(tmp_path), code=3)
    assert [one["file"] for one in second.record["changes"]["altered"]] == ["simulated-001.csv"]
    assert all("not what was issued" not in row["because"] for row in every(changes(second).values()))


def test_a_style_that_a_viewer_stored_leaves_the_points_what_they_were(tmp_path: Path) -> None:
    job, path, first = issued(tmp_path)
    change(first.package, "UPDATE layer_styles SET styleName = 'mine' WHERE f_table_name = 'points'")
    second = run_written(with_the_second_changed(job, path))
    assert second.record["changes"]["altered"] == [] and not changes(second)
