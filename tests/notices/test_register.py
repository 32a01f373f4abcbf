"""The register before the job: planted slips are told with their line, and a sound register is left in peace."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyogrio
import pytest
from closed_forms import GRS80, WGS84, utm
from running import replace_in
from simulate import CANTERBURY, CENTRAL_JAVA, ELLIPSOIDAL, Place, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError

SMALL = Plan(sessions=2, points=20, ties=1, checks=2, marks=4)
#: Somewhere in Bavaria, where longitude and latitude can be swapped without leaving the earth.
BAVARIA = Place(11.5, 48.1, 550.0, GRS80, utm(32, south=False), "EPSG:25832", "EPSG:4937", "ellipsoid", None)


def warnings(job: Simulation, folder: Path) -> list[str]:
    """What `tiedown check` warns of, the folder taken off the register's path; not what a run gives that is untied."""
    told = [text.replace(f"{folder}/", "") for text in check_job(job.write(folder)).warnings]
    return [text for text in told if not text.startswith("untied in ")]


def add_mark(job: Simulation, name: str, like: str, east: float = 0.0, north: float = 0.0, up: float = 0.0) -> None:
    """Put a row at the end of the register, beside a mark that is there."""
    at = list(job.register["mark"]).index(like)
    moved = {"mark": name, "easting": east, "northing": north, "height": up}
    for column, values in job.register.items():
        value = name if column == "mark" else values[at] + moved.get(column, 0.0)
        job.register[column] = np.append(values, value)


def put(job: Simulation, mark: str, **coordinates: float) -> None:
    """Write other coordinates of a mark into the register."""
    at = list(job.register["mark"]).index(mark)
    for column, value in coordinates.items():
        job.register[column] = job.register[column].copy()
        job.register[column][at] = value


@pytest.mark.parametrize("seed", range(20))
def test_a_sound_register_is_left_in_peace(seed: int, tmp_path: Path) -> None:
    place = (CANTERBURY, CENTRAL_JAVA, ELLIPSOIDAL)[seed % 3]
    job = simulate(replace(SMALL, seed=seed, place=place, sessions=1 + seed % 3, temporary=seed % 3 == 1))
    assert warnings(job, tmp_path) == []


def test_two_names_a_few_decimetres_apart(tmp_path: Path) -> None:
    job = simulate(SMALL)
    add_mark(job, "CM2-NEW", "CM2", east=0.12, north=-0.16, up=0.3)
    (told,) = warnings(job, tmp_path)
    assert told.startswith("register.csv:6: mark 'CM2-NEW' is 0.200 m from mark 'CM2', 0.300 m above it (line 3)")


def test_the_same_coordinates_under_two_names(tmp_path: Path) -> None:
    job = simulate(SMALL)
    add_mark(job, "OLD-3", "CM3")
    (told,) = warnings(job, tmp_path)
    assert told.startswith("register.csv:6: mark 'OLD-3' has the same coordinates as mark 'CM3' (line 4)")


def test_a_mark_a_metre_away_is_another_mark(tmp_path: Path) -> None:
    job = simulate(SMALL)
    add_mark(job, "CM2-WITNESS", "CM2", east=1.0)
    assert warnings(job, tmp_path) == []


def test_a_check_on_the_mark_that_ties(tmp_path: Path) -> None:
    """CM1B is CM1 under another name; the rover stood on it twice."""
    job = simulate(replace(SMALL, noise=False))
    add_mark(job, "CM1B", "CM1", east=0.02)
    names = list(job.rows["name"])
    for column in ("longitude", "latitude", "height"):
        job.rows[column][names.index("S01-C1")] = job.rows[column][names.index("S01-T1")]
    job.job["session"][0]["checks"][0]["mark"] = "CM1B"
    both = warnings(job, tmp_path)
    assert len(both) == 2
    assert both[1] == (
        "register.csv:6: session session-01 is tied to mark 'CM1' and checked on 'CM1B', 0.020 m from it:"
        " the check is not independent"
    )


def test_easting_and_northing_swapped(tmp_path: Path) -> None:
    job = simulate(SMALL)
    easting, northing, _ = job.marks.of("CM3")
    put(job, "CM3", easting=northing, northing=easting)
    (told,) = warnings(job, tmp_path)
    assert told.startswith("register.csv:4: mark 'CM3' is ")
    assert told.endswith("with easting and northing swapped it would be among them")


def test_longitude_and_latitude_swapped_or_with_the_wrong_sign(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, place=BAVARIA, marks=5))
    job.register["longitude"], job.register["latitude"] = job.marks.longitude.copy(), job.marks.latitude.copy()
    del job.register["easting"], job.register["northing"]
    job.job["control"]["crs"] = "EPSG:4937"
    assert warnings(job, tmp_path / "sound") == []
    longitude, latitude, _ = job.marks.geographic("CM4")
    put(job, "CM4", longitude=latitude, latitude=longitude)
    put(job, "CM3", latitude=-job.marks.geographic("CM3")[1])
    put(job, "CM5", longitude=-job.marks.geographic("CM5")[0])
    told = [text.split(" km from every reading; ")[1] for text in warnings(job, tmp_path)]
    assert told == [
        "with the other sign of its latitude it would be among them",
        "with longitude and latitude swapped it would be among them",
        "with the other sign of its longitude it would be among them",
    ]


def test_a_northing_of_the_other_hemisphere(tmp_path: Path) -> None:
    """On the northern grid a place south of the equator has a northing below zero."""
    job = simulate(replace(SMALL, place=CENTRAL_JAVA))
    put(job, "CM2", northing=job.marks.of("CM2")[1] - 1e7)
    (told,) = warnings(job, tmp_path)
    assert told.endswith("as on the northern hemisphere's grid (10 000 000 m more) it would be among them")


def test_an_easting_of_the_neighbouring_zone(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, place=CENTRAL_JAVA))
    longitude, latitude, _ = job.marks.geographic("CM2")
    easting, northing = utm(50, south=True, ellipsoid=WGS84).forward(longitude, latitude)
    put(job, "CM2", easting=float(easting), northing=float(northing))
    (told,) = warnings(job, tmp_path)
    assert told.endswith("in the neighbouring zone, 6 degrees east, it would be among them")


def test_a_mark_that_is_nowhere_near(tmp_path: Path) -> None:
    job = simulate(SMALL)
    add_mark(job, "FAR-1", "CM1", north=80_000.0)
    add_mark(job, "FAR-2", "CM1", north=-90_000.0)
    (told,) = warnings(job, tmp_path)
    assert told.startswith("register.csv:6: marks 'FAR-1', 'FAR-2' are 7")
    assert told.endswith("; no session uses them")
    job.job["session"][1]["checks"][0]["mark"] = "FAR-2"
    told = warnings(job, tmp_path / "used")
    assert [text.endswith("sessions use it") for text in told] == [False, True]


def test_the_register_of_a_whole_country_is_no_news(tmp_path: Path) -> None:
    job = simulate(SMALL)
    for number in range(12):
        add_mark(job, f"N{number}", "CM1", north=60_000.0 + 10_000 * number)
    assert warnings(job, tmp_path) == []


def test_marks_without_a_height_are_told_where_they_are_used(tmp_path: Path) -> None:
    """A check is then one of position alone; marks of the region that nobody occupied are no news."""
    job = simulate(SMALL)
    for number in range(40):
        add_mark(job, f"N{number}", "CM1", north=900.0 + 70.0 * number)
    far = np.array([name.startswith("N") for name in job.register["mark"]])
    job.register["height"] = np.where(far, np.nan, job.register["height"])
    assert warnings(job, tmp_path / "elsewhere") == []
    assert run_job(tmp_path / "elsewhere/job.toml", dry_run=True).record["verdict"] == "proven"
    put(job, "CM2", height=np.nan)
    (told,) = warnings(job, tmp_path / "used")
    assert "mark 'CM2' has no height in the register, and ties and tests no height" in told
    rows = run_job(tmp_path / "used/job.toml", dry_run=True).record["checks"]
    heights = {row["mark"]: row["known_height"] for row in rows}
    assert [mark for mark, height in heights.items() if height is None] == ["CM2"]


@pytest.mark.parametrize("height", [0.0, 9999.999])
def test_a_height_that_was_never_filled_in_is_told_where_it_is_used(height: float, tmp_path: Path) -> None:
    job = simulate(SMALL)
    put(job, "CM2", height=height)
    (told,) = [text for text in warnings(job, tmp_path) if "never filled in" in text]
    assert told.startswith("register.csv:3: mark 'CM2' has the height")
    assert "where 3 others have heights from" in told


def test_the_zero_of_heights_by_the_sea_or_of_a_site_is_a_height(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.register["height"] = np.array([1.2, 0.0, 8.4, -0.3])
    assert not any("never filled in" in text for text in warnings(job, tmp_path))


def separation(job: Simulation, mark: str) -> float:
    return float(job.marks.geographic(mark)[2] - job.marks.of(mark)[2])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(
    ("times", "says"), [(1, "an ellipsoidal one"), (-1, "one with the separation subtracted twice")]
)
def test_one_height_of_another_kind(times: int, says: str, seed: int, tmp_path: Path) -> None:
    """Three marks in a session, so that the two others decide; the base's height is metres off."""
    job = simulate(replace(SMALL, sessions=1, ties=2, checks=2, seed=seed))
    job.mistype("CM3", "height", times * separation(job, "CM3"))
    (told,) = warnings(job, tmp_path)
    assert told.startswith("register.csv:4: mark 'CM3' is ")
    assert f"the geoid separation is {separation(job, 'CM3'):+.3f} m" in told
    assert told.endswith(f"its height looks like {says}")


def test_an_occupation_found_by_its_code_tells_too(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, sessions=1, ties=2, checks=2))
    job.job["session"][0]["checks"] = []
    job.mistype("CM3", "height", separation(job, "CM3"))
    (told,) = warnings(job, tmp_path)
    assert told.startswith("register.csv:4: mark 'CM3' is ")


def test_a_whole_register_of_ellipsoidal_heights(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, place=CENTRAL_JAVA, base_vertical=4.0))
    apart = job.marks.ellipsoid_height - job.marks.height
    assert np.abs(apart).min() > 20
    job.register["height"] = job.register["height"] + apart
    told = " ".join(warnings(job, tmp_path))  # the shift that follows is in doubt too
    assert "each height looks like an ellipsoidal one (or each export height like a height above a datum) -> " in told
    assert "register-heights" in told


def test_datum_heights_that_are_called_ellipsoidal(tmp_path: Path) -> None:
    job = simulate(replace(SMALL, place=CENTRAL_JAVA, base_vertical=4.0))
    job.register["ellipsoid_height"] = job.register.pop("height")
    job.job["control"]["height"] = "ellipsoid"
    told = " ".join(warnings(job, tmp_path))
    assert "each height looks like a height above a datum, not an ellipsoidal one -> " in told


def test_digits_swapped_since_the_earlier_issue(tmp_path: Path) -> None:
    """Told by a check and by the run that issues it; a revision of a few millimetres is not."""
    job = simulate(SMALL)
    path = job.write(tmp_path)
    first = run_job(path)
    text = (tmp_path / "register.csv").read_text()
    line = next(line for line in text.splitlines() if line.startswith("CM2,"))
    before = line.split(",")[1]
    at = next(n for n in range(4, 6) if before[n] != before[n + 1])
    now = before[:at] + before[at + 1] + before[at] + before[at + 2 :]
    replace_in(tmp_path / "register.csv", {before: now})
    how = "two neighbouring digits are swapped"
    expected = f"register.csv:3: mark 'CM2': easting {now}, but {before} in issue 001: {how}"
    assert expected in [told.replace(f"{tmp_path}/", "") for told in check_job(path).warnings]
    second = run_job(path)
    assert expected in second.record["notes"]
    assert not [note for note in first.record["notes"] if "digits" in note]
    replace_in(tmp_path / "register.csv", {now: before[:-2] + ("57" if before[-2:] != "57" else "75")})
    assert [told for told in check_job(path).warnings if "digit" in told] == []


def test_a_run_notes_what_a_check_warns_of(tmp_path: Path) -> None:
    """With the register's path from the job file, so that an issue is the same wherever the job lies."""
    job = simulate(SMALL)
    add_mark(job, "OLD-3", "CM3")
    notes = run_job(job.write(tmp_path), dry_run=True).record["notes"]
    assert [note for note in notes if note.startswith("register.csv:6: mark 'OLD-3' has the same coordinates")]
    assert run_job(tmp_path / "job.toml", dry_run=True).record["notes"] == notes


def test_an_earlier_issue_that_cannot_be_read_is_a_problem(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    run_job(path)
    (tmp_path / "out/issues/001/issue.json").write_text("{}")
    with pytest.raises(JobError, match="issue 001 cannot be read"):
        check_job(path)


def geopackage_register(job: Simulation, folder: Path, crs: str) -> Path:
    """Write the register as a layer whose geometry gives the coordinates, and let the job file name it."""
    path = job.write(folder)
    packed = np.zeros(len(job.marks.names), np.dtype([("order", "u1"), ("type", "<u4"), ("xyz", "<f8", 3)]))
    packed["order"], packed["type"] = 1, 1001
    packed["xyz"] = np.column_stack([job.marks.easting, job.marks.northing, job.marks.height])
    table = pa.table({"mark": list(job.marks.names), "geom": pa.array([row.tobytes() for row in packed], pa.binary())})
    pyogrio.write_arrow(table, folder / "register.gpkg", layer="marks", driver="GPKG", geometry_name="geom",
                        geometry_type="Point Z", crs=crs)  # fmt: skip
    replace_in(path, {'file = "register.csv"': 'file = "register.gpkg"'})
    return path


@pytest.mark.parametrize("crs", ["EPSG:2193", "EPSG:2193+5773"])
def test_a_geopackage_register_in_the_crs_that_the_job_says(crs: str, tmp_path: Path) -> None:
    assert check_job(geopackage_register(simulate(SMALL), tmp_path, crs)).warnings == ()


def test_a_geopackage_register_in_another_crs_is_a_problem(tmp_path: Path) -> None:
    path = geopackage_register(simulate(SMALL), tmp_path, "EPSG:2134")
    with pytest.raises(JobError) as caught:
        check_job(path)
    (problem,) = caught.value.problems
    wanted = next(n for n, line in enumerate(path.read_text().splitlines(), 1) if line.startswith('crs = "EPSG:2193"'))
    assert (problem.file, problem.line) == (str(path), wanted)
    assert "is in NZGD2000 / UTM zone 59S (EPSG:2134), but [control] crs is" in problem.what


@pytest.mark.parametrize("stated", [{"type": "link", "properties": {"href": "grid.prj"}}, "site grid"])
def test_a_geojson_register_whose_crs_nobody_knows_is_a_problem(stated: object, tmp_path: Path) -> None:
    """The member ``crs`` of the standard of 2008; RFC 7946 has none, and null says nothing."""
    job = simulate(SMALL)
    path = job.write(tmp_path)
    places = np.column_stack([job.marks.easting, job.marks.northing, job.marks.height]).tolist()
    features = [
        {"type": "Feature", "properties": {"mark": name}, "geometry": {"type": "Point", "coordinates": place}}
        for name, place in zip(job.marks.names, places, strict=True)
    ]
    collection = {"type": "FeatureCollection", "crs": stated, "features": features}
    (tmp_path / "register.geojson").write_text(json.dumps(collection), encoding="utf-8")
    replace_in(path, {'file = "register.csv"': 'file = "register.geojson"'})
    with pytest.raises(JobError) as caught:
        check_job(path)
    (problem,) = [one for one in caught.value.problems if one.file.endswith("register.geojson")]
    assert 'member "crs" names an unknown CRS' in problem.what


#: False easting and northing of the grids, as the registry has them, and the digits in front of a place on them.
@pytest.mark.parametrize(
    ("place", "east", "north", "said"),
    [
        (CANTERBURY, -1_600_000.0, 0.0, "with the grid's false easting of 1 600 000 m added, "),
        (CANTERBURY, -1_600_000.0, -10_000_000.0, "with the grid's false easting and northing added, "),
        (CANTERBURY, -1_000_000.0, 0.0, "with 1 000 000 m more in easting (digits left out in front), "),
        (CANTERBURY, 0.0, -5_000_000.0, "with 5 000 000 m more in northing (digits left out in front), "),
        (
            CANTERBURY, -1_500_000.0, -5_100_000.0,
            "with 1 500 000 m more in easting and 5 100 000 m more in northing (digits left out in front), ",
        ),
        (BAVARIA, -500_000.0, 0.0, "with the grid's false easting of 500 000 m added, "),
        (BAVARIA, 0.0, -5_000_000.0, "with 5 000 000 m more in northing (digits left out in front), "),
    ],
)  # fmt: skip
@pytest.mark.parametrize("whole", [True, False])
def test_what_a_grid_adds_left_out_or_the_digits_in_front(
    place: Place, east: float, north: float, said: str, whole: bool, tmp_path: Path
) -> None:
    job = simulate(replace(SMALL, place=place))
    for mark in job.register["mark"] if whole else ["CM3"]:
        easting, northing, _ = job.marks.of(mark)
        put(job, mark, easting=easting + east, northing=northing + north)
    (told,) = [text for text in warnings(job, tmp_path) if "from every reading" in text]
    assert told.endswith(said + ("the marks would be among the readings" if whole else "it would be among them"))


def test_a_failing_mark_without_the_grids_false_easting_is_explained(tmp_path: Path) -> None:
    job = simulate(SMALL)
    put(job, "CM3", easting=job.marks.of("CM3")[0] - 1_600_000.0)
    outcome = run_job(job.write(tmp_path), dry_run=True)
    causes = {check["cause"] for check in outcome.record["checks"] if check["mark"] == "CM3" and not check["passed"]}
    assert causes
    for cause in causes:
        assert cause.startswith("CM3's easting and northing were meant with the grid's false easting of 1 600 000 m")
    assert outcome.exit_code == 3


def test_headings_again_and_titles_of_pages_are_told_once_and_all_marks_are_there(tmp_path: Path) -> None:
    job = simulate(SMALL)
    path = job.write(tmp_path)
    heading, *rows = (tmp_path / "register.csv").read_text().splitlines()
    pages = ["Marks of the town;page 1", heading, *rows[:2], "", "Marks of the town;page 2", heading, *rows[2:]]
    (tmp_path / "register.csv").write_text("\n".join(pages).replace(";", " ") + "\n")
    (told,) = check_job(path).warnings
    assert "register.csv:6: line 7 names its columns again and line 6 is a title, footer or rule" in told
