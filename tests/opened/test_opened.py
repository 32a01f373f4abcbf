"""An issue opened in Python is the issue: its layers, its record, where it stands, and what differs from another.

What a layer holds is read by SQLite, which shares nothing with the reader of data frames.
"""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import geopandas
import numpy as np
import pytest
from running import revised
from simulate import Plan, simulate

from pipeline import Issue, JobError, open_issue


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two issues: the height of CM1, which ties the first session, was revised by 6 mm."""
    plan = Plan(sessions=2, points=8, ties=1, checks=1, marks=3, noise=False)
    return revised(simulate(plan), tmp_path_factory.mktemp("two"))


def test_layers_are_data_frames_in_the_grid_s_crs(out: Path) -> None:
    issue = open_issue(out)
    assert (issue.number, issue.state, issue.current) == (2, "current", 2)
    points = issue.layer("points")
    assert isinstance(points, geopandas.GeoDataFrame) and points.crs.to_epsg() == 2193
    with closing(sqlite3.connect(issue.package)) as file:
        rows = file.execute("SELECT name, easting, northing, height FROM points ORDER BY fid").fetchall()
    assert points["name"].tolist() == [row[0] for row in rows]
    xyz = np.column_stack([points.geometry.x, points.geometry.y, points.geometry.z])
    assert (xyz == np.array([row[1:] for row in rows])).all()
    assert str(points["observed"].dt.tz) == "UTC"
    assert {"check_marks", "sessions", "marks", "held_back", "changes"} <= set(issue.layers)
    assert issue.record["verdict"] == issue.layer("sessions")["verdict"].iloc[0]
    with pytest.raises(KeyError, match="did you mean 'points'"):
        issue.layer("pionts")


def test_differences_are_those_of_the_layer_and_turn_about(out: Path) -> None:
    first, second = open_issue(out, 1), open_issue(out, 2)
    assert first.state == "superseded"
    layer, found = second.layer("changes"), second.differences(first)
    assert found.crs == layer.crs and len(found) == 8
    assert not found.pop("recoded").notna().any()
    for column in found.columns:
        assert found[column].equals(layer[column].set_axis(found.index)) or column == "geometry", column
    assert found.geometry.geom_equals(layer.geometry, align=False).all()
    # a mark that alone ties a session lifts its points by what it was lifted
    assert np.allclose(found["d_height"], 0.006, atol=1e-5)
    back = first.differences(second)
    assert np.allclose(back["d_height"], -0.006, atol=1e-5)
    assert not len(first.differences(first))


def test_by_job_by_folder_and_by_the_issue_s_own(out: Path) -> None:
    job = out.parent / "job.toml"
    opened = [open_issue(place) for place in (str(job), job, out, out / "current", out / "issues" / "002")]
    assert {one.number for one in opened} == {2}
    assert open_issue(out / "issues" / "001").number == 1 == open_issue(job, 1).number


def test_one_that_current_does_not_show_is_pending(out: Path) -> None:
    """As after an issue that was not released: `current` stays where it was."""
    link = out / "current"
    shown = os.readlink(link)
    link.unlink()
    link.symlink_to("issues/001")
    try:
        assert [(open_issue(out, number).number, open_issue(out, number).state) for number in (None, 1, 2)] == [
            (1, "current"),
            (1, "current"),
            (2, "pending"),
        ]
        link.unlink()
        assert (open_issue(out).number, open_issue(out).state) == (2, "current")
    finally:
        link.unlink(missing_ok=True)
        link.symlink_to(shown)


def test_what_is_not_there_or_not_as_issued_is_refused(out: Path, tmp_path: Path) -> None:
    for place, number, what in (
        (out, 7, "it has 001, 002"),
        (out, 0, "there is no issue 000"),
        (out, -1, "it has 001, 002"),
        (tmp_path, None, "run the job first"),
        (tmp_path / "no.toml", None, "no.toml"),
    ):
        with pytest.raises(JobError) as error:
            open_issue(place, number)
        assert what in str(error.value)
    for number in ("1", 1.0, True):
        with pytest.raises(TypeError, match="whole number"):
            open_issue(out, number)  # type: ignore[arg-type]
    assert open_issue(out, np.int64(1)).number == 1
    with altered(open_issue(out, 1).package) as package:
        one, other = open_issue(out, 1), open_issue(out, 2)
        for use in (lambda: one.layer("points"), lambda: one.differences(other), lambda: other.differences(one)):
            with pytest.raises(JobError, match="not what was issued"):
                use()
        package.unlink()
        with pytest.raises(JobError, match="is gone"):
            open_issue(out, 1)
    assert isinstance(open_issue(out, 1).layer("marks"), geopandas.GeoDataFrame) and Issue.__doc__


def test_an_altered_issue_is_refused_by_python_without_assertions_too(out: Path) -> None:
    code = """
import sys
from pipeline import JobError, open_issue

one, other = (open_issue(sys.argv[1], number) for number in (1, 2))
for use in (lambda: one.layer("points"), lambda: one.differences(other), lambda: other.differences(one)):
    try:
        use()
    except JobError as error:
        print("not what was issued" in str(error))
"""
    with altered(open_issue(out, 1).package):
        command = [sys.executable, "-O", "-c", code, str(out)]
        found = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (found.returncode, found.stdout) == (0, "True\n" * 3), found.stderr


@contextmanager
def altered(package: Path) -> Iterator[Path]:
    """A GeoPackage with other heights of its marks than were issued, made whole again afterwards."""
    whole = package.read_bytes()
    try:
        with closing(sqlite3.connect(package)) as file:
            for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                file.execute(f'DROP TRIGGER "{name}"')
            file.execute("UPDATE marks SET height = 0")
            file.commit()
        yield package
    finally:
        package.write_bytes(whole)
