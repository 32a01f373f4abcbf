"""A register in a classical datum whose ellipsoidal heights are those of satellite positioning, or of that datum."""

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from issued import current_issue
from least_job import write_job
from pyproj import CRS, Transformer

from pipeline import run_job
from pipeline.run.outcome import Outcome

#: Grids of classical datums with a place in each [deg]; what the base is off by [deg, m].
GRIDS = {3123: (121.0, 14.6), 31256: (16.4, 48.2), 5235: (80.6, 7.3)}
#: Datums for which no ellipsoidal heights are registered, with a grid in which is issued, and a place [deg].
CARRIED = {4253: (32651, (121.0, 14.6)), 4298: (29873, (115.0, 5.5)), 4301: (32654, (139.7, 35.7))}
_BASE = (1.1e-5, -0.8e-5, 2.9)


def ran(folder: Path, grid: int, heights: str, degrees: int | None = None) -> tuple[Outcome, dict[str, float]]:
    """Lay a job whose register has heights above WGS 84 or the grid's ellipsoid, or all in WGS 84, and run it.

    With ``degrees`` the register is in degrees of that datum, and it is its ellipsoid instead of the grid's. Returns
    the outcome and the points' true heights above that ellipsoid.
    """
    some, plane = random.Random(grid), Transformer.from_crs(4326, degrees or grid, always_xy=True)
    base = CRS.from_epsg(degrees or grid).geodetic_crs
    assert base is not None
    up = Transformer.from_crs(CRS.from_epsg(4979), base.to_3d(), always_xy=True)
    lon, lat = CARRIED[degrees][1] if degrees in CARRIED else GRIDS[grid]
    marks, rows, truth = [], [], {}
    for number in range(9):
        x, y, h = lon + some.uniform(-0.004, 0.004), lat + some.uniform(-0.004, 0.004), 160 + some.uniform(-8, 8)
        name = {0: "K0", 1: "K1", 8: "K2"}.get(number, f"P{number}")
        east, north = plane.transform(x, y)
        own = up.transform(x, y, h)[2]
        if name[0] == "K":
            place = f"{x:.9f},{y:.9f}" if heights == "all" else f"{east:.9f},{north:.9f}"
            marks.append(f"{name},{place},{own if heights == 'grid' else h:.4f}")
        else:
            truth[name] = own
        x, y, h = (at + by for at, by in zip((x, y, h), _BASE, strict=True))
        rows.append(f"{name},2026-03-02T0{number}:00:00Z,{x:.9f},{y:.9f},{h:.4f}")
    head = "mark,longitude,latitude" if degrees or heights == "all" else "mark,easting,northing"
    (folder / "control.csv").write_text("\n".join([f"{head},ellipsoid_height", *marks]), encoding="utf-8")
    (folder / "obs.csv").write_text("\n".join(["Point,Time,Lon,Lat,H", *rows]), encoding="utf-8")
    crs = "EPSG:4979" if heights == "all" else f"EPSG:{degrees or grid}"
    control = {"file": "control.csv", "crs": crs, "height": "ellipsoid"}
    occupied: dict[str, Any] = {"ties": [("K0", "K0")], "checks": [("K1", "K1"), ("K2", "K2")]}
    job = write_job(folder, "EPSG:4979", {"grid": f"EPSG:{grid}"}, file="obs.csv", control=control, **occupied)
    return run_job(job), truth


def said(outcome: Outcome) -> list[str]:
    return [doubt["what"] for doubt in outcome.record["doubts"]]


@pytest.mark.parametrize("grid", GRIDS)
def test_heights_above_the_readings_ellipsoid_are_doubted_with_what_to_write(grid: int, tmp_path: Path) -> None:
    outcome, _ = ran(tmp_path, grid, "wgs84")
    first = said(outcome)[0]
    assert outcome.exit_code == 3 and "look like those of WGS 84" in first and 'crs = "EPSG:4979"' in first


@pytest.mark.parametrize("grid", GRIDS)
@pytest.mark.parametrize("heights", ["grid", "all"])
def test_a_register_that_is_stated_as_it_is_is_right_and_gives_rise_to_no_doubt(
    grid: int, heights: str, tmp_path: Path
) -> None:
    outcome, truth = ran(tmp_path, grid, heights)
    assert not [what for what in said(outcome) if "the ellipsoid of" in what or "shift of" in what]
    points = current_issue(tmp_path / "out").points
    known = np.array([truth[row["name"]] for row in points.rows])
    assert np.abs(points.xyz()[:, 2] - known).max() < 0.002


@pytest.mark.parametrize(("grid", "datum"), [(3123, 4683), (31256, 4312), (5235, 5233)])
@pytest.mark.parametrize("heights", ["wgs84", "grid"])
def test_a_register_in_degrees_of_the_grids_datum_is_judged_as_one_in_the_grid(
    grid: int, datum: int, heights: str, tmp_path: Path
) -> None:
    outcome, truth = ran(tmp_path, grid, heights, datum)
    if heights == "wgs84":
        assert outcome.exit_code == 3 and any("look like those of WGS 84" in what for what in said(outcome))
        return
    assert outcome.exit_code == 0 and not said(outcome)
    points = current_issue(tmp_path / "out").points
    known = np.array([truth[row["name"]] for row in points.rows])
    assert np.abs(points.xyz()[:, 2] - known).max() < 0.002


@pytest.mark.parametrize("datum", CARRIED)
def test_heights_above_the_own_ellipsoid_of_a_datum_are_doubted_where_they_are_carried(
    datum: int, tmp_path: Path
) -> None:
    outcome, _ = ran(tmp_path, CARRIED[datum][0], "grid", datum)
    name = CRS.from_epsg(datum).name
    (doubt,) = [what for what in said(outcome) if "the ellipsoid of" in what]
    assert f"look like those of {name}, or else like heights above a height datum" in doubt


@pytest.mark.parametrize("datum", CARRIED)
def test_heights_of_satellite_positioning_that_are_carried_are_not_doubted(datum: int, tmp_path: Path) -> None:
    outcome, _ = ran(tmp_path, CARRIED[datum][0], "wgs84", datum)
    assert not [what for what in said(outcome) if "the ellipsoid of" in what or "shift of" in what]
