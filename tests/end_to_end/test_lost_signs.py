"""Jobs on the meridian of Greenwich whose exports lost minus signs: the points of one side lie mirrored."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from closed_forms import WGS84, Ellipsoid, TransverseMercator, utm
from numpy.typing import NDArray
from running import Row, record_of, replace_in, rewrite_export
from simulate import Place, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.plausible import aside, on_sphere

GREENWICH = Place(0.001, 51.5, 60.0, WGS84, utm(31, south=False, ellipsoid=WGS84), "EPSG:32631", "EPSG:4979",
                  "ellipsoid", None)  # fmt: skip
PLAN = Plan(sessions=1, points=200, place=GREENWICH, reach=700.0)
#: Austria's western grid counts eastings from its central meridian, both ways.
_BESSEL = Ellipsoid(6_377_397.155, 299.1528128)
TYROL = Place(10.0 + 1.0 / 3.0, 47.2, 600.0, _BESSEL, TransverseMercator(_BESSEL, 10.0 + 1.0 / 3.0, 1.0, 0.0, -5e6),
              "EPSG:31254", "EPSG:9267", "ellipsoid", None)  # fmt: skip
#: Degrees in a metre at this latitude, east and north.
EAST, NORTH = 1.0 / (111_320.0 * np.cos(np.radians(51.5))), 1.0 / 111_200.0


def walked(seed: int = 0) -> tuple[Simulation, NDArray[np.int64]]:
    """Return a job whose points lie in lanes of 600 m across the meridian, and their rows in order of time."""
    job = simulate(PLAN)
    rows = np.flatnonzero(job.rows["kind"] == "point")
    rows = rows[np.argsort(job.rows["time"][rows])]
    lane, at = np.divmod(np.arange(len(rows)), 50)
    scatter = np.random.default_rng(seed).normal(0.0, 2.0, (2, len(rows)))
    across = np.where(lane % 2 == 0, -300.0 + 12.0 * at, 300.0 - 12.0 * at) + scatter[0]
    for name, values in (("longitude", across * EAST), ("latitude", 51.5 + (12.0 * lane + scatter[1]) * NORTH)):
        job.rows[name] = job.rows[name].copy()
        job.rows[name][rows] = values
    return job, rows


def test_work_across_the_meridian_is_left_in_peace(tmp_path: Path) -> None:
    for seed in range(3):
        record = record_of(walked(seed)[0].write(tmp_path / str(seed)))
        assert record["verdict"] == "proven"
        assert not [note for note in record["notes"] if "sign" in note]


def test_some_rows_without_their_minus_are_in_doubt(tmp_path: Path) -> None:
    """The checks pass: all marks keep their signs. Nine points lie some 400 m from where they were measured."""
    job, rows = walked()
    west = rows[job.rows["longitude"][rows] < -150.0 * EAST]
    job.rows["longitude"][west[[5, 6, 7, 20, 21, 22, 40, 41, 42]]] *= -1.0
    record = record_of(job.write(tmp_path), 3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "place" and "across the zero meridian" in doubt["what"]
    assert record["verdict"] == "unchecked"


def test_a_single_row_is_told(tmp_path: Path) -> None:
    job, rows = walked()
    row = rows[5]
    job.rows["longitude"][row] *= -1.0
    record = record_of(job.write(tmp_path))
    (told,) = [note for note in record["notes"] if "lost minus signs" in note]
    assert told.startswith(f"rover001.csv:{row + 2}: session session-01: its readings leap 2 times across the zero")


def east_of(job: Simulation, metres: float) -> None:
    """Let all rows, marks too, and what the register has of these, lie east of so many metres."""
    job.rows["longitude"] = np.abs(job.rows["longitude"]) + metres * EAST


def test_an_export_without_any_sign_is_told_where_its_work_touches_zero(tmp_path: Path) -> None:
    job, _ = walked()
    east_of(job, 0.0)
    record = record_of(job.write(tmp_path / "touches"), 3)  # a mark in the west fails
    (told,) = [note for note in record["notes"] if "has the same sign" in note]
    assert told.startswith("rover001.csv: every longitude has the same sign, and the work ends 0.")
    east_of(job, 40.0)
    record = record_of(job.write(tmp_path / "beside"), 3)
    assert not [note for note in record["notes"] if "has the same sign" in note]


#: Taveuni in Fiji, on the meridian of 180 degrees.
FIJI = Place(179.999, -16.8, 60.0, WGS84, utm(60, south=True, ellipsoid=WGS84), "EPSG:32760", "EPSG:4979",
             "ellipsoid", None)  # fmt: skip
_EAST_FIJI = 1.0 / (111_320.0 * np.cos(np.radians(16.8)))


def walked_at_180(form: str) -> tuple[Simulation, NDArray[np.int64]]:
    """Return a job whose points lie in lanes across 180 degrees, counted to 180 on either side or to 360."""
    job = simulate(replace(PLAN, place=FIJI))
    rows = np.flatnonzero(job.rows["kind"] == "point")
    rows = rows[np.argsort(job.rows["time"][rows])]
    lane, at = np.divmod(np.arange(len(rows)), 50)
    scatter = np.random.default_rng(3).normal(0.0, 2.0, (2, len(rows)))
    longitude, latitude = job.rows["longitude"].copy(), job.rows["latitude"].copy()
    longitude[rows] = 180.0 + (np.where(lane % 2 == 0, -300.0 + 12.0 * at, 300.0 - 12.0 * at) + scatter[0]) * _EAST_FIJI
    latitude[rows] = -16.8 + (12.0 * lane + scatter[1]) * NORTH
    longitude = longitude % 360.0
    job.rows["latitude"] = latitude
    job.rows["longitude"] = longitude if form == "360" else (longitude + 180.0) % 360.0 - 180.0
    return job, rows


@pytest.mark.parametrize("form", ["180", "360"])
def test_work_across_180_degrees_is_left_in_peace(tmp_path: Path, form: str) -> None:
    record = record_of(walked_at_180(form)[0].write(tmp_path))
    assert record["verdict"] == "proven"
    assert record["doubts"] == []
    assert not [note for note in record["notes"] if "sign" in note or "zero" in note]


def test_a_minus_lost_at_180_degrees_is_said_to_be_there(tmp_path: Path) -> None:
    job, rows = walked_at_180("180")
    beyond = rows[job.rows["longitude"][rows] < 0.0]
    beyond = beyond[job.rows["longitude"][beyond] > -180.0 + 150.0 * _EAST_FIJI]
    job.rows["longitude"][beyond[[5, 6, 7, 20, 21, 22, 40, 41, 42]]] *= -1.0
    record = record_of(job.write(tmp_path), 3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "place" and "across the meridian of 180 degrees, " in doubt["what"]


def test_an_export_without_any_sign_is_told_where_its_work_touches_180_degrees(tmp_path: Path) -> None:
    job, _ = walked_at_180("180")
    job.rows["longitude"] = np.abs(job.rows["longitude"])
    record = run_job(job.write(tmp_path), dry_run=True).record
    (told,) = [note for note in record["notes"] if "has the same sign" in note]
    assert (
        "every longitude has the same sign" in told and "m from 180 degrees: if it goes on beyond the meridian" in told
    )


def test_eastings_without_sign_are_told_where_the_work_touches_the_central_meridian(tmp_path: Path) -> None:
    def written(folder: Path, signed: bool) -> list[str]:
        job = simulate(replace(PLAN, place=TYROL))
        path = job.write(folder)

        def in_metres(row: Row) -> Row:
            east, north = job.plan.place.projection.forward(float(row.pop("Lon")), float(row.pop("Lat")))
            return row | {"E": f"{east if signed else abs(east):.4f}", "N": f"{north:.4f}"}

        rewrite_export(folder / "rover001.csv", in_metres)
        columns = {'latitude = "Lat", longitude = "Lon"': 'easting = "E", northing = "N"'}
        replace_in(path, columns | {'crs = "EPSG:9267"': 'crs = "EPSG:31254"'})
        return [note for note in run_job(path, dry_run=True).record["notes"] if "has the same sign" in note]

    assert written(tmp_path / "signed", True) == []
    (told,) = written(tmp_path / "unsigned", False)
    assert told.startswith("rover001.csv: every coordinate across the grid has the same sign")


def west_of(metres: float, count: int = 60, reach: float = 150.0) -> Simulation:
    """Return a job whose points all lie so far to the west of the meridian, without noise."""
    place = replace(GREENWICH, longitude=-metres * EAST)
    return simulate(Plan(sessions=1, points=count, place=place, reach=reach, noise=False))


def lost(job: Simulation, rows: NDArray[np.int64]) -> None:
    job.rows["longitude"] = job.rows["longitude"].copy()
    job.rows["longitude"][rows] *= -1.0


@pytest.mark.parametrize(("metres", "which"), [(200.0, "all"), (200.0, "half"), (200.0, "two"), (1_400.0, "half")])
def test_points_beyond_the_meridian_with_none_in_between_are_told(metres: float, which: str, tmp_path: Path) -> None:
    """In whatever order they were measured: -0 degrees of separate columns became 0, and the marks kept their signs."""
    job = west_of(metres)
    points = np.flatnonzero(job.rows["kind"] == "point")
    some = {"all": points, "half": points[30:], "two": points[[20, 41]]}[which]
    lost(job, some)
    notes = record_of(job.write(tmp_path, files=2))["notes"]
    (note,) = [note for note in notes if "lost minus signs" in note]
    assert "beyond the zero meridian" in note and "with none in between" in note


@pytest.mark.parametrize("metres", [0.0, 30.0, 100.0, 200.0, 1_400.0, 30_000.0])
def test_work_beside_the_meridian_is_left_in_peace(metres: float, tmp_path: Path) -> None:
    record = record_of(west_of(metres).write(tmp_path))
    assert not [note for note in record["notes"] if "lost minus signs" in note]


def test_work_on_two_sides_with_marks_on_both_is_left_in_peace(tmp_path: Path) -> None:
    job = west_of(200.0)
    lost(job, np.flatnonzero((job.rows["kind"] == "point") & (np.arange(len(job.rows["kind"])) > 30)))
    places = on_sphere(job.rows["longitude"], job.rows["latitude"])
    marks = job.rows["kind"] != "point"
    assert aside(places, marks) is not None
    assert aside(places, marks | (job.rows["longitude"] > 0.0)) is None
