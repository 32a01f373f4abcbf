"""A step to the height datum that no mark proves: told, and doubted where PROJ's own grid gives other separations."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from closed_forms import Geoid, write_gtx
from every import every
from places_made import place_with
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.examine import geoid_step
from pipeline.geodesy.operations import working_to_issued

PLAN = Plan(sessions=1, points=8, checks=2, marks=3, noise=False)
#: Metres that the true geoid lies above the ellipsoid.
TRUE = 11.0


def made(folder: Path, named: float = TRUE, *, ellipsoidal: bool = True) -> Simulation:
    """A job by a named grid whose values are ``named``, as the true one else; its register may be ellipsoidal."""
    job = simulate(replace(PLAN, place=place_with(folder, TRUE)))
    if named != TRUE:
        flat = np.full((21, 21), named, np.float32)
        write_gtx(Geoid(46.2, 7.5, 0.1, 0.1, flat), folder / "named.gtx")
        job.job["target"]["geoid"] = str(folder / "named.gtx")
    if ellipsoidal:
        job.register["height"] = job.marks.ellipsoid_height
        job.job["control"] |= {"height": "ellipsoid", "columns": {"ellipsoid_height": "height"}}
    return job


def told(job: Simulation, folder: Path) -> tuple[list[str], list[str], str]:
    record = run_job(job.write(folder / "job"), dry_run=True).record
    assert all(check["passed"] for check in every(record["checks"]))
    notes = [note for note in record["notes"] if "no mark checks the conversion" in note]
    return [one["what"] for one in record["doubts"]], notes, record["verdict"]


@pytest.mark.parametrize("named", [TRUE, -TRUE])
def test_a_register_of_ellipsoidal_heights_proves_no_geoid(named: float, tmp_path: Path) -> None:
    """Checks pass with the right grid and with one of reversed sign, 22 m off: without PROJ's grid nobody can tell."""
    doubts, notes, verdict = told(made(tmp_path, named), tmp_path)
    assert (doubts, len(notes), verdict) == ([], 1, "proven")
    assert "EPSG:5773" in notes[0] and "geoid grid" in notes[0]


def test_a_register_in_the_height_datum_proves_it(tmp_path: Path) -> None:
    assert told(made(tmp_path, ellipsoidal=False), tmp_path) == ([], [], "proven")


def test_a_job_of_ellipsoidal_heights_has_no_such_step(tmp_path: Path) -> None:
    job = made(tmp_path)
    job.job["target"] = {"grid": job.job["target"]["grid"], "height": "ellipsoid"}
    assert told(job, tmp_path) == ([], [], "proven")


@pytest.mark.parametrize(
    ("named", "words"),
    [
        (TRUE, None),
        (TRUE - 0.9, None),  # another model of one datum
        (-TRUE, "sign of its values, which looks reversed"),
        (TRUE + 8.0, "check that it is the grid of this height datum"),
        (412.0, "but no geoid is farther than 110 m"),  # heights of the ground
    ],
)
def test_a_named_grid_is_held_against_that_of_proj(
    named: float, words: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = made(tmp_path, named)

    def of_proj(grid: str, height: str, area: object) -> object:
        return replace(working_to_issued(grid, height, area, tmp_path / "geoid.gtx"), accuracy=1.0)  # type: ignore[arg-type]

    monkeypatch.setattr(geoid_step, "working_to_issued", of_proj)
    job.job["shift"] = {"limit_vertical": 1000.0}
    doubts, _, verdict = told(job, tmp_path)
    assert len(doubts) == (words is not None) and verdict == ("unchecked" if words else "proven")
    assert words is None or words in doubts[0]


WIDE = replace(PLAN, points=60, reach=12_000.0)
#: Metres north of the place to metres by which PROJ's grid is higher there than the true one; all marks lie within
#: 1.5 km of the place, the second, a check, 1.1 km to its south.
SHAPES = {
    "far from the marks": lambda north: 3e-5 * np.maximum(np.abs(north) - 2_000.0, 0.0),
    "within the tolerance": lambda north: 4e-6 * np.maximum(np.abs(north) - 2_000.0, 0.0),
    "hardly": lambda north: 1e-6 * np.maximum(np.abs(north) - 2_000.0, 0.0),
    "where a check passes": lambda north: 0.3 * np.clip((-north - 300.0) / 600.0, 0.0, 1.0),
}


@pytest.mark.parametrize(
    ("shape", "accuracy", "target", "expected"),
    [
        ("far from the marks", 0.02, {}, "doubt"),
        ("far from the marks", None, {}, "doubt"),
        ("far from the marks", 1.0, {}, "note"),  # of the whole earth: it is the named one that is better
        ("far from the marks", 0.02, {"geoid_sigma": 0.2}, "note"),  # in every vu95
        ("far from the marks", 0.02, {"max_transform_error": 0.5}, "note"),
        ("within the tolerance", 0.02, {}, "note"),
        ("hardly", 0.02, {}, ""),
        ("where a check passes", 0.02, {}, ""),
    ],
)
def test_a_named_grid_may_differ_from_that_of_proj_by_more_than_ties_absorb(
    shape: str,
    accuracy: float | None,
    target: dict[str, float],
    expected: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What two grids differ by in the middle goes into the shift; what they differ by farther out goes into heights."""
    job = simulate(replace(WIDE, place=place_with(tmp_path, TRUE)))
    job.job["target"] |= target
    rows, columns = np.mgrid[0:201, 0:201]
    north, east = 111_000.0 * (rows / 100.0 - 1.0), 80_000.0 * (columns / 100.0 - 1.0)
    other = TRUE + 2e-5 * (north + east) + 0.4 + SHAPES[shape](north)
    write_gtx(Geoid(46.2, 7.5, 0.01, 0.01, other.astype(np.float32)), tmp_path / "other.gtx")

    def of_proj(grid: str, height: str, area: object) -> object:
        return replace(working_to_issued(grid, height, area, tmp_path / "other.gtx"), accuracy=accuracy)  # type: ignore[arg-type]

    monkeypatch.setattr(geoid_step, "working_to_issued", of_proj)
    record = run_job(job.write(tmp_path / "job"), dry_run=True).record
    assert all(check["passed"] for check in every(record["checks"]))
    doubts = [one["what"] for one in record["doubts"]]
    notes = [note for note in record["notes"] if "which absorb that" in note and "unproven" not in note]
    assert (len(doubts), len(notes)) == {"doubt": (1, 0), "note": (0, 1), "": (0, 0)}[expected]
    for said in (*doubts, *notes):
        most = SHAPES[shape]((job.truth.latitude - 47.2) * 111_000.0).max()
        told = float(re.findall(r"heights there differ by ([0-9.]+) m", said)[0])
        assert "-0.400 m from where" in said and told == pytest.approx(most, abs=0.003)
