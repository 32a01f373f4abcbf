"""Degrees that are not in the datum of the register's grid, as most are beside a grid of the 19th or 20th century."""

import random
import re
from pathlib import Path

import pytest
from pyproj import CRS, Transformer

from pipeline.new_job import new_job

#: Grids of classical datums, and a place in each [deg].
GRIDS = {
    3123: (121.0, 14.6),
    3844: (26.1, 44.4),
    31467: (9.2, 48.8),
    31256: (16.4, 48.2),
    27700: (-1.5, 52.5),
    5235: (80.6, 7.3),
    29873: (115.0, 5.5),
}
#: What the base is off by [deg, m].
_BASE = (1.1e-5, -0.8e-5, 2.9)


def laid(
    folder: Path, grid: int, noise: float = 0.0, lower: float = 0.0, degrees: int | None = None, own: bool = False
) -> list[str]:
    """Lay four marks in a grid and readings on them in degrees of WGS 84; return the names of the marks.

    ``noise`` is the sigma of a reading in plan [deg], ``lower`` by how much the marks' heights are lower [m]. With
    ``degrees`` the marks are in degrees of that datum, whose code their file states, with ``own`` the readings too.
    """
    some, way = random.Random(grid), Transformer.from_crs(4326, degrees or grid, always_xy=True)
    lon, lat = GRIDS[grid]
    marks, rows = [], []
    for number in range(8):
        x, y = lon + some.uniform(-0.004, 0.004), lat + some.uniform(-0.004, 0.004)
        name, height = (f"K{number}" if number < 4 else f"P{number}"), 60.0 + some.uniform(-8, 8)
        if number < 4:
            east, north = way.transform(x, y)
            marks.append(f"{name},{east:.9f},{north:.9f},{height - lower:.3f}")
        x, y = way.transform(x, y) if own else (x, y)
        x, y = (at + by + some.gauss(0, noise) for at, by in zip((x, y), _BASE[:2], strict=True))
        up = height + _BASE[2] + some.gauss(0, 2e5 * noise)
        rows.append(f"{name},2026-03-12T0{number}:00:00Z,{x:.9f},{y:.9f},{up:.3f}")
    head = "Mark,Longitude,Latitude" if degrees else "Mark,Easting,Northing"
    register = f"control EPSG {degrees}.csv" if degrees else "control.csv"
    (folder / register).write_text("\n".join([f"{head},Ellipsoidal height", *marks]))
    (folder / "obs.csv").write_text("\n".join(["Point,Time,Longitude,Latitude,Ellipsoidal height", *rows]))
    return [f"K{number}" for number in range(4)]


@pytest.mark.parametrize("grid", GRIDS)
@pytest.mark.parametrize("noise", [0.0, 2e-8], ids=["none", "2 mm"])
def test_every_measured_mark_is_a_tie_or_a_check_and_none_is_called_copied(
    grid: int, noise: float, tmp_path: Path
) -> None:
    names = laid(tmp_path, grid, noise)
    started = new_job(tmp_path)
    written = Path(started.path).read_text(encoding="utf-8")
    assert "not that of the grid" in written
    assert not any("coordinates of" in note for note in started.notes)
    assert all(f'mark = "{name}"' in written for name in names)


#: By how much heights above the ellipsoid of WGS 84 exceed those above the grid's, from PROJ's best operation [m].
def apart(grid: int) -> float:
    base = CRS.from_epsg(grid).geodetic_crs
    assert base is not None
    lon, lat = GRIDS[grid]
    return -float(Transformer.from_crs(CRS.from_epsg(4979), base.to_3d(), always_xy=True).transform(lon, lat, 0.0)[2])


@pytest.mark.parametrize("grid", [3123, 31256, 5235])
def test_heights_of_satellite_positioning_in_a_classical_grid_are_asked_after(grid: int, tmp_path: Path) -> None:
    laid(tmp_path, grid)
    (asked,) = [one.question for one in new_job(tmp_path).asked if one.question.key == "control.height"]
    step = re.search(r"are ([+-][\d.]+) m above those of", asked.asks)
    assert step is not None and float(step[1]) == pytest.approx(apart(grid), abs=1.5)  # of several datums, the first
    assert "-2.9 m above the readings" in asked.asks and "look like those of WGS 84" in asked.asks
    assert [each.value for each in asked.candidates] == ['"ellipsoid"']


@pytest.mark.parametrize("grid", [3123, 31256, 5235])
def test_heights_above_the_ellipsoid_of_the_grids_datum_are_taken_as_such(grid: int, tmp_path: Path) -> None:
    laid(tmp_path, grid, lower=apart(grid))
    started = new_job(tmp_path)
    assert not [one for one in started.asked if one.question.key == "control.height"]
    assert re.search(r'\nheight = "ellipsoid"', Path(started.path).read_text(encoding="utf-8").split("[control]")[1])


#: Datums in degrees, with the place of a grid: two that have ellipsoidal heights of their own, and two that have none.
DATUMS = {4683: 3123, 5233: 5235, 4298: 29873, 4316: 3844}


def asked_of_heights(folder: Path) -> list[str]:
    return [one.question.asks for one in new_job(folder).asked if one.question.key == "control.height"]


@pytest.mark.parametrize("datum", [4683, 5233])
def test_heights_of_satellite_positioning_in_degrees_of_a_classical_datum_are_asked_after(
    datum: int, tmp_path: Path
) -> None:
    laid(tmp_path, DATUMS[datum], degrees=datum)
    (asks,) = asked_of_heights(tmp_path)
    step = re.search(r"are ([+-][\d.]+) m above those of", asks)
    assert step is not None and float(step[1]) == pytest.approx(apart(DATUMS[datum]), abs=0.11)
    assert "look like those of WGS 84" in asks


def test_heights_above_the_own_ellipsoid_of_a_datum_that_has_none_registered_are_asked_after(tmp_path: Path) -> None:
    laid(tmp_path, DATUMS[4298], lower=apart(DATUMS[4298]), degrees=4298)
    (asks,) = asked_of_heights(tmp_path)
    add = re.search(r"add ([+-][\d.]+) m to them", asks)
    assert add is not None and float(add[1]) == pytest.approx(apart(DATUMS[4298]), abs=0.11)


@pytest.mark.parametrize("datum", DATUMS)
def test_heights_that_a_run_takes_for_what_they_are_are_not_asked_after(datum: int, tmp_path: Path) -> None:
    registered = CRS.from_epsg(datum).to_3d().to_authority() is not None
    laid(tmp_path, DATUMS[datum], lower=apart(DATUMS[datum]) if registered else 0.0, degrees=datum)
    assert not asked_of_heights(tmp_path)


@pytest.mark.parametrize("datum", DATUMS)
def test_no_ellipsoid_is_asked_after_where_the_readings_are_in_the_registers_datum(datum: int, tmp_path: Path) -> None:
    laid(tmp_path, DATUMS[datum], degrees=datum, own=True)
    assert not asked_of_heights(tmp_path)
