"""Whole jobs in corners where rows, heights or longitudes are easily lost, against truth and closed forms."""

import csv
import datetime as dt
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyproj
import pytest
from closed_forms import GRS80, WGS84, move, to_geocentric, utm
from every import every
from issued import off_truth
from least_job import COLUMNS, write_job
from numpy.testing import assert_allclose
from running import published_record, replace_in, rewrite_export, run_simulated, run_written
from simulate import Place, Plan, simulate

CIRCLE, INTERVAL = np.sqrt(-2 * np.log(0.05)), 1.959963984540054
SMALL = Plan(sessions=1, points=10, noise=False)


@pytest.mark.parametrize("form", ["csv", "gpkg"])
def test_a_job_across_the_180th_meridian(form: str, tmp_path: Path) -> None:
    """WGS 84 / UTM zone 60S, points on both sides; the export says -179.9 on the far one."""
    place = Place(180.02, -17.5, 12.0, WGS84, utm(60, south=True, ellipsoid=WGS84), "EPSG:32760", "EPSG:4979",
                  "ellipsoid", None)  # fmt: skip
    job = simulate(replace(SMALL, place=place, reach=9_000.0, points=30))
    job.rows["longitude"] = np.where(job.rows["longitude"] > 180, job.rows["longitude"] - 360, job.rows["longitude"])
    assert 5 < (job.rows["longitude"] > 0).sum() < 30
    issue = run_simulated(job, tmp_path, form)
    assert len(issue.points.rows) == 30
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=1e-4)


def test_one_stray_reading_half_a_world_away_changes_nothing_for_the_others(tmp_path: Path) -> None:
    """A reading at 0, 0 with a good time is held back; the others keep their operations and their coordinates."""
    job = simulate(SMALL)
    for name in ("longitude", "latitude", "height"):
        job.rows[name][5] = 0.0
    issue = run_simulated(job, tmp_path)
    assert issue.reasons() == {str(job.rows["name"][5]): "implausible"}
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=1e-4)


def test_columns_of_the_export_that_are_called_like_ours_keep_their_content(tmp_path: Path) -> None:
    job = simulate(SMALL)
    path = job.write(tmp_path)
    names = ("fid", "geom", "Name", "height", "session", "HU95", "ogc_fid", "proof")
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {name: f"{name} of {row['Point']}" for name in names})
    issue = run_written(path)
    assert len(issue.points.rows) == 10
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=1e-4)
    carried = issue.points.columns[issue.points.columns.index("source_row") + 1 :]
    # what is mapped and has no column of its own comes last
    carried, mapped = carried[: len(names)], carried[len(names) :]
    assert mapped == ["base", "sigma_east", "sigma_north", "sigma_up"]
    assert len(carried) == len(names)
    for row in issue.points.rows:
        assert [row[name] for name in carried] == [f"{name} of {row['name']}" for name in names]


def test_an_export_with_a_header_alone_and_one_exported_twice(tmp_path: Path) -> None:
    job = simulate(SMALL)
    path = job.write(tmp_path)
    text = (tmp_path / "rover001.csv").read_text()
    (tmp_path / "rover000.csv").write_text(text.splitlines()[0] + "\n")
    (tmp_path / "rover002.csv").write_text(text)
    issue = run_written(path, code=3)
    assert [one["name"] for one in issue.record["wholly_held_back"]] == ["rover000.csv", "rover002.csv"]
    assert Counter(issue.held_back.column("reason")) == {"duplicate": 13}
    assert set(issue.held_back.column("source_file")) == {"rover002.csv"}
    assert all("rover001.csv" in row["detail"] for row in every(issue.held_back.rows))
    assert [(one["path"], one["rows"]) for one in issue.record["inputs"][:3]] == [
        ("rover000.csv", 0), ("rover001.csv", 13), ("rover002.csv", 13),
    ]  # fmt: skip
    assert len(issue.points.rows) == 10 and len(issue.check_marks.rows) == 3


def test_a_working_day_outside_all_sessions_of_a_job_in_utc(tmp_path: Path) -> None:
    """Days from 19:30 to 03:30 UTC at 173 degrees east: of the lost one, each day of UTC has points of another."""
    job = simulate(Plan(sessions=3, points=30, noise=False))
    del job.job["session"][1]
    record = published_record(job.write(tmp_path), code=3)
    (lost,) = record["wholly_held_back"]
    assert (lost["kind"], lost["rows"], lost["by_reason"]) == ("day", 33, {"outside_sessions": 33})
    # 171.5 degrees are 11.4 hours: the day from 11:00 UTC on 2026-03-02
    assert lost["name"] == "2026-03-03 (UTC+11:00, by the sun at the site)"


@pytest.mark.parametrize("zone", [dt.timezone(dt.timedelta(hours=12)), dt.UTC])
def test_a_day_lost_by_two_clocks_is_told_once(zone: dt.tzinfo, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=3, points=30, noise=False, start=dt.datetime(2026, 3, 1, 12, 30, tzinfo=dt.UTC)))
    del job.job["session"][1]
    for session in job.job["session"]:
        session.update(start=session["start"].astimezone(zone), end=session["end"].astimezone(zone))
    (lost,) = published_record(job.write(tmp_path), code=3)["wholly_held_back"]
    assert (lost["kind"], lost["rows"]) == ("day", 33)


def test_sessions_are_half_open(tmp_path: Path) -> None:
    """A reading at the very time at which one session ends and the next starts belongs to the next."""
    job = simulate(replace(SMALL, sessions=2))
    sessions = job.job["session"]
    sessions[0]["end"] = sessions[1]["start"]
    for session in sessions:
        session["base"] = ""
    at = int(np.flatnonzero((job.rows["session"] == 1) & (job.rows["kind"] == "point"))[0])
    job.rows["time"][at] = np.datetime64(sessions[1]["start"].replace(tzinfo=None), "ms")
    job.rows["base"][:] = ""
    issue = run_simulated(job, tmp_path)
    row = issue.points.one(name=str(job.rows["name"][at]))
    assert row["session"] == "session-02"
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=1e-4)


def test_an_export_without_sigmas_takes_the_jobs_and_distance_adds_to_them(tmp_path: Path) -> None:
    """The base stands over CM1, so that distances are known: 20 ppm of up to 15 km, in each component."""
    job = simulate(replace(SMALL, reach=15_000.0))
    lon, lat, height = job.marks.geographic("CM1")
    stands = move(*(np.array([v]) for v in (lon, lat, height + 1.5)), -job.shifts[0], GRS80)
    job.job["session"][0]["setup"] = {
        "mark": "CM1", "longitude": float(stands[0][0]), "latitude": float(stands[1][0]),
        "ellipsoid_height": float(stands[2][0]), "antenna_height": 1.5,
    }  # fmt: skip
    job.job["session"][0]["ties"] = []
    job.job["quality"] = {"sigma_horizontal": 0.010, "sigma_vertical": 0.020, "ppm": 20.0, "centring": 0.002}
    job.job["checks"] = {"horizontal": 0.03, "vertical": 0.05}
    job.keep(job.rows["kind"] != "tie")
    path = job.write(tmp_path)
    replace_in(path, {'sigma_east = "sE", sigma_north = "sN", sigma_up = "sU", ': ""})
    issue = run_written(path)
    from_base = to_geocentric(lon, lat, height + 1.5, GRS80)
    for row in every(issue.points.rows):
        there = to_geocentric(*job.truth.geographic(row["name"]), GRS80)
        far = 20e-6 * np.linalg.norm(there - from_base)
        # The base's own set-up counts as well as a pole is centred, in all three components.
        horizontal = np.sqrt(0.010**2 + far**2 + 0.002**2 + (0.010 / CIRCLE) ** 2)
        vertical = np.sqrt(0.020**2 + far**2 + 0.002**2 + (0.020 / INTERVAL) ** 2)
        assert_allclose([row["hu95"], row["vu95"]], [CIRCLE * horizontal, INTERVAL * vertical], rtol=2e-3, atol=0)
    assert max(issue.points.column("hu95")) > 0.7


def test_a_shift_that_no_base_makes_is_warned_of(tmp_path: Path) -> None:
    """Ellipsoidal heights in the register's height column: the shift comes out near the geoid separation."""
    job = simulate(replace(SMALL, base_vertical=1.0))
    separation = job.marks.ellipsoid_height - job.marks.height
    for mark, metres in zip(job.marks.names, separation, strict=True):
        job.mistype(str(mark), "height", float(metres))
    job.job["shift"] = {"limit_vertical": 5.0}
    record = published_record(job.write(tmp_path), code=3)
    assert any("session-01" in note and "shift" in note for note in record["notes"]), record["notes"]


def test_heights_by_projs_own_grid_are_those_of_the_named_one(real_grids: Path, tmp_path: Path) -> None:
    """EPSG:5773 with PROJ's GeoTIFF, found on its path, and the same file named as target.geoid.

    PROJ's own route to EGM96 goes through WGS 84, whose ellipsoid moves the northing by a tenth of a millimetre.
    """
    job = simulate(replace(SMALL, reach=15_000.0))
    path = job.write(tmp_path)
    geoid = next(line for line in path.read_text().splitlines() if line.startswith("geoid ="))
    replace_in(path, {geoid: ""})
    issue = run_written(path)
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=3e-4)
    used = {grid["name"] for step in issue.record["operations"] for grid in step["grids"]}
    assert used == {"us_nga_egm96_15.tif"}
    named = job.write(tmp_path / "named")
    replace_in(named, {geoid: f'geoid = "{(real_grids / "us_nga_egm96_15.tif").as_posix()}"'})
    assert_allclose(run_written(named).points.xyz(), issue.points.xyz(), rtol=0, atol=2e-4)


def test_the_ordnance_surveys_test_points_come_out_as_published(real_grids: Path, tmp_path: Path) -> None:
    """ETRS89 to OSGB36 by OSTN15 and to ODN by OSGM15, without a shift: the published points of the mainland.

    PROJ reads OSTN15 in its NTv2 form, which is off the Ordnance Survey's own by up to 8 mm.
    """
    with (real_grids / "uk_os_test_points.csv").open(newline="") as file:
        points = [row for row in csv.DictReader(file) if row["height_datum_flag"] == "1"]
    assert len(points) > 20
    lines = [f"{row['point']},2026-05-01T10:{number:02d}:00Z,{row['etrs89_lat_deg']},{row['etrs89_lon_deg']},"
             f"{row['ellipsoidal_height_m']},fix" for number, row in enumerate(points)]  # fmt: skip
    (tmp_path / "points.csv").write_text("\n".join(["Point,Time,Lat,Lon,H,S", *lines]) + "\n")
    target = {"grid": "EPSG:27700", "height": "EPSG:5701"}
    columns, days = COLUMNS | {"solution": "S"}, ("2026-05-01T09:00Z", "2026-05-01T12:00Z")
    path = write_job(tmp_path, "EPSG:4937", target, file="points.csv", columns=columns, days=days, shift="none")
    issue = run_written(path)
    assert len(issue.points.rows) == len(points)
    published = [[float(row[k]) for k in ("osgb_east_m", "osgb_north_m", "ortho_height_m")] for row in points]
    assert_allclose(issue.points.xyz()[:, :2], np.array(published)[:, :2], rtol=0, atol=8e-3)
    assert_allclose(issue.points.xyz()[:, 2], np.array(published)[:, 2], rtol=0, atol=2.05e-3)
    assert set(issue.points.column("proof")) == {"unchecked"}


def test_each_point_is_brought_from_a_moving_datum_at_its_own_time(tmp_path: Path) -> None:
    """ITRF2014 into GDA2020, which drift apart by 7 cm a year: against PROJ with the decimal year of each reading."""
    times = [dt.datetime(2021, 7, 1, tzinfo=dt.UTC), dt.datetime(2026, 7, 1, tzinfo=dt.UTC)]
    lines = [f"P{n},{time.isoformat()},-33.5,149.1,700.0,fix" for n, time in enumerate(times)]
    (tmp_path / "points.csv").write_text("\n".join(["Point,Time,Lat,Lon,H,S", *lines]) + "\n")
    columns, days = COLUMNS | {"solution": "S"}, ("2020-01-01T00:00Z", "2027-01-01T00:00Z")
    grid = {"grid": "EPSG:7855"}
    path = write_job(tmp_path, "EPSG:7912", grid, file="points.csv", columns=columns, days=days, shift="none")
    issue = run_written(path)
    step = pyproj.Transformer.from_crs("EPSG:7912", "EPSG:7843", always_xy=True, allow_ballpark=False)
    to_grid = pyproj.Transformer.from_crs("EPSG:7844", "EPSG:7855", always_xy=True)
    expected = []
    for year in (2021 + 181 / 365, 2026 + 181 / 365):
        lon, lat, height, _ = step.transform(149.1, -33.5, 700.0, year)
        expected.append([*to_grid.transform(lon, lat), height])
    assert_allclose(issue.points.xyz(), expected, rtol=0, atol=2e-4)
    assert 0.25 < np.hypot(*(issue.points.xyz()[1] - issue.points.xyz()[0])[:2]) < 0.4
