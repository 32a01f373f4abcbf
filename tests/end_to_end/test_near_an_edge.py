"""Whole jobs near the edge of an area of use: the points decide, and a stray is outside coverage."""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import GRS80, move, turn_enu
from issued import Issue
from numpy.testing import assert_allclose
from running import replace_in, run_written
from simulate import Place, Plan, Simulation, simulate
from simulate_plan import utm

from pipeline.problems import JobError


def luxembourg(folder: Path, stray_east: float, kind: str = "point") -> tuple[Simulation, Path]:
    """A job at Echternach, 2 km within the edge of Luxembourg's area of use (6.53 degrees east, EPSG registry).

    The export is in ETRS89, grid and register in ETRS89 / UTM zone 32N; LUREF is put in for the grid afterwards. The
    first reading of a ``kind`` is moved to the east.
    """
    zone = utm(31, south=False, ellipsoid=GRS80)
    place = Place(6.49, 49.80, 230.0, GRS80, zone, "EPSG:25831", "EPSG:4937", "ellipsoid", None)
    job = simulate(Plan(sessions=1, points=12, ties=1, checks=2, marks=3, reach=1500.0, noise=False, place=place))
    drafted = np.flatnonzero(job.rows["kind"] == kind)[:1]
    at = [job.rows[name][drafted] for name in ("longitude", "latitude", "height")]
    moved = move(*at, turn_enu(at[0], at[1], np.array([[stray_east, 0.0, 0.0]])), GRS80)
    for name, values in zip(("longitude", "latitude", "height"), moved, strict=True):
        job.rows[name][drafted] = values
    path = job.write(folder)
    replace_in(path, {'[target]\ngrid = "EPSG:25831"': '[target]\nmax_transform_error = 2.0\ngrid = "EPSG:2169"'})
    return job, path


def heights(issue: Issue) -> dict[str, float]:
    return {row["name"]: row["height"] for row in issue.points.rows}


def test_a_job_within_kilometres_of_an_edge_is_issued(tmp_path: Path) -> None:
    _, path = luxembourg(tmp_path, 0.0)
    issue = run_written(path)
    assert len(issue.points.rows) == 12 and not issue.held_back.rows


def test_a_stray_is_outside_coverage_and_the_rest_goes_on(tmp_path: Path) -> None:
    """20 km over the border; the numbers of the others are those of the job without it."""
    _, plain = luxembourg(tmp_path / "plain", 0.0)
    _, path = luxembourg(tmp_path / "stray", 20_000.0)
    without, issue = run_written(plain), run_written(path)
    held = issue.held_back.rows
    assert [row["reason"] for row in held] == ["outside_coverage"] and len(issue.points.rows) == 11
    assert "outside the area of use of" in held[0]["detail"] and "Luxembourg" in held[0]["detail"]
    names = set(heights(issue))
    before = {row["name"]: (row["easting"], row["northing"]) for row in without.points.rows if row["name"] in names}
    after = {row["name"]: (row["easting"], row["northing"]) for row in issue.points.rows}
    assert_allclose(
        [after[name] for name in sorted(names)], [before[name] for name in sorted(names)], rtol=0, atol=1e-6
    )


def test_a_stray_mark_is_not_needed(tmp_path: Path) -> None:
    """A mark of the register far beyond the area, on which nobody stood."""
    _, path = luxembourg(tmp_path, 0.0)
    register = path.parent / "register.csv"
    header, *rows = register.read_text().splitlines()
    far = rows[0].split(",")
    far[0], far[1] = "FAR", str(float(far[1]) + 400_000.0)
    register.write_text("\n".join([header, *rows, ",".join(far)]) + "\n")
    assert len(run_written(path).points.rows) == 12


def test_a_tie_outside_coverage_is_refused_with_its_place(tmp_path: Path) -> None:
    _, path = luxembourg(tmp_path, 20_000.0, "tie")
    with pytest.raises(JobError) as refused:
        run_written(path)
    (problem,) = refused.value.problems
    assert problem.line and "S01-T1" in problem.what and "outside coverage: it is at 6.7" in problem.what


def test_a_listed_check_outside_coverage_is_told(tmp_path: Path) -> None:
    _, path = luxembourg(tmp_path, 20_000.0, "check")
    issue = run_written(path)
    assert [row["name"] for row in issue.held_back.rows] == ["S01-C1"]
    (note,) = [note for note in issue.record["notes"] if "S01-C1" in note]
    assert "proves nothing: it is held back as outside_coverage: it is at 6.7" in note


def test_a_session_without_ties_whose_first_reading_is_outside_coverage_keeps_its_shift(tmp_path: Path) -> None:
    """The first reading of the export is the one that ties otherwise; here it is a point like the others."""
    _, path = luxembourg(tmp_path, 20_000.0, "tie")
    replace_in(path, {'ties = [{ point = "S01-T1", mark = "CM1" }]': 'shift = "none"'})
    issue = run_written(path, code=3)
    assert [(row["name"], row["reason"]) for row in issue.held_back.rows if row["reason"] != "suspect"] == [
        ("S01-T1", "outside_coverage")
    ]
    (session,) = issue.record["sessions"]
    assert session["verdict"] == "failed" and session["shift_east"] == 0.0
