"""Heights of a layer's geometries beside columns that say heights: Z that nobody filled in is not taken."""

import struct
import tomllib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pyogrio
import pytest
from answered import answer
from exports_made import feature, geojson
from folders_made import job_of, lay, write
from issued import current_issue
from pyproj.crs import CRS
from simulate import Simulation
from simulate_files import write_gpkg

from pipeline import run_job
from pipeline.arrays import Floats
from pipeline.job.toml_text import unquoted
from pipeline.new_job import new_job
from pipeline.new_job.geometries import flat_of
from pipeline.new_job.start import Started


@pytest.mark.parametrize(
    ("z", "level"),
    [([0.0] * 3, 0.0), ([0.0] * 2, None), ([5.0] * 7, None), ([5.0] * 8, 5.0), ([5.0] * 8 + [5.01], None), ([], None)],
)
def test_heights_are_flat_where_many_are_one(z: list[float], level: float | None) -> None:
    assert flat_of(np.array([*z, np.nan])) == level


@pytest.mark.parametrize("flat", [True, False])
def test_flat_geometries_leave_the_heights_to_their_column(tmp_path: Path, flat: bool) -> None:
    job = job_of()
    lay(tmp_path, job)
    made = []
    for at in range(len(job.rows["height"])):
        name, code, time = (str(job.rows[word][at]) for word in ("name", "code", "time"))
        longitude, latitude, height = (float(job.rows[word][at]) for word in ("longitude", "latitude", "height"))
        place: dict[str, object] = {"type": "Point", "coordinates": [longitude, latitude, 0.0 if flat else height]}
        other = height + (0.0 if flat else 2.0)
        made.append(feature(place, name=name, time=f"{time}Z", code=code, ellipsoid_height=other))
    geojson(tmp_path / "rover.geojson", made)
    started = new_job(tmp_path)
    (block,) = tomllib.loads(Path(started.path).read_text())["points"]
    text = Path(started.path).read_text().replace("\n# ", " ")
    assert block["columns"].get("height") == ("ellipsoid_height" if flat else None)
    assert ("Z is 0 in all rows" in text) == flat
    assert _asked(started) == ([] if flat else ["ellipsoid_height"])


def _asked(started: Started) -> list[str]:
    """Return the columns that are offered for the heights of readings, or of marks."""
    asked = [one.question for one in started.asked if one.question.key in ("height", "ellipsoid_height")]
    return [unquoted(each.value) for one in asked for each in one.candidates if each.value != '"EPSG:5773"']


def _layer(folder: Path, job: Simulation, heights: Mapping[str, Floats], z: Floats, crs: str = "EPSG:9707") -> None:
    """Write a GeoPackage of readings with this Z and these columns of heights."""
    rows = job.rows
    pairs = zip(rows["longitude"].tolist(), rows["latitude"].tolist(), z.tolist(), strict=True)
    points = np.array([struct.pack("<BIddd", 1, 1001, *each) for each in pairs], object)
    fields = {word: rows[word].astype(object) for word in ("name", "code", "base", "solution")}
    fields |= {**heights, "UTC": rows["time"].astype("datetime64[ms]")}
    pyogrio.raw.write(
        folder / "rover.gpkg", points, list(fields.values()), list(fields), geometry_type="Point Z", crs=crs
    )


@pytest.mark.parametrize(
    ("heading", "scale", "decimals", "add", "asked"),
    [
        ("Ellipsoidal height", 1.0, 3, 1.2, True),
        ("H", 1.0, 3, -12.0, True),
        ("Elevation", 1.0, 3, -12.0, True),
        ("Ellipsoidal height", 1.0, 3, 0.0, False),
        ("Ellipsoidal height", 1.0, 1, 0.0, False),  # rounded
        ("Height (ft)", 1 / 0.3048, 2, 0.0, False),  # another unit
        ("Tree height", 1.0, 1, 10.0, False),
        ("Geoid height", 0.0, 2, 12.0, False),
        ("Antenna height", 1.0, 3, 1.8, False),
        ("Height", 0.0, 3, 1.8, False),  # of the pole
    ],
)
def test_columns_of_other_heights_than_those_of_the_geometry_are_offered(
    tmp_path: Path, heading: str, scale: float, decimals: int, add: float, asked: bool
) -> None:
    job = job_of()
    lay(tmp_path, job)
    heights = np.round(job.rows["height"] * scale + add, decimals)
    _layer(tmp_path, job, {heading: heights}, job.rows["height"], "EPSG:4167")
    assert _asked(new_job(tmp_path)) == ([heading] if asked else [])


def test_heights_above_the_ellipsoid_are_offered_before_others(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heights = {"Elevation": job.rows["height"] - 12.0, "Ellipsoidal height": job.rows["height"]}
    _layer(tmp_path, job, heights, job.rows["height"] + 3.0, "EPSG:4167")
    assert _asked(new_job(tmp_path)) == ["Ellipsoidal height", "Elevation"]


def test_a_layer_that_says_its_height_datum_is_read_by_its_z(tmp_path: Path) -> None:
    """Then nothing is open: the column of the other heights is told of."""
    job = job_of()
    lay(tmp_path, job)
    _layer(tmp_path, job, {"Ellipsoidal height": job.rows["height"] + 12.0}, job.rows["height"])
    started = new_job(tmp_path)
    text = Path(started.path).read_text().replace("\n# ", " ")
    assert _asked(started) == []
    assert '"Ellipsoidal height" has other heights than the geometry' in text


@pytest.mark.parametrize("takes", ["column", "geometry"])
def test_the_answer_takes_the_heights_that_it_names(tmp_path: Path, takes: str) -> None:
    """Heights that lean by 60 mm in a kilometre against the others, as those above a geoid do beside the ellipsoid's.

    Points come out where the simulation had them if the right ones are taken, and tens of millimetres off else.
    """
    job = job_of()
    lay(tmp_path, job)
    rows = job.rows
    leaning = rows["height"] - 1.2 + (rows["latitude"] - rows["latitude"].mean()) * 111.2 * 0.06
    z, other = (leaning, rows["height"]) if takes == "column" else (rows["height"], leaning)
    _layer(tmp_path, job, {"Ellipsoidal height": other}, z, "EPSG:4167")
    path = Path(new_job(tmp_path).path)
    if takes == "column":
        answer(
            path, {"target.height": '"EPSG:5773"', "control.height": '"EPSG:5773"', "height": '"Ellipsoidal height"'}
        )
    else:
        lines = path.read_text(encoding="utf-8").splitlines()
        lines = [line for line in lines if line.split("  #")[0] != '# height = "Ellipsoidal height"']
        path.write_text("\n".join(lines).replace("# OPEN: which heights", "# which heights"), encoding="utf-8")
        answer(path, {"target.height": '"EPSG:5773"', "control.height": '"EPSG:5773"'})
    run_job(path)
    points = current_issue(tmp_path / "out").points
    known = np.array([job.truth.of(row["name"]) for row in points.rows])
    assert np.abs(points.xyz() - known).max() < 0.001


def test_a_register_of_two_heights_is_asked_for_them(tmp_path: Path) -> None:
    """Those above a datum are not above the ellipsoid, as the Z of geometries in degrees is: they are asked apart."""
    job = job_of()
    lay(tmp_path, job)
    (tmp_path / "control.csv").unlink()
    write(tmp_path / "rover.csv", job, {word: word for word in ("name", "code", "time", "longitude", "latitude")}
          | {"height": "Ellipsoidal height"})  # fmt: skip
    marks = job.marks
    made = []
    for at, name in enumerate(job.register["mark"]):
        lon, lat, up = (float(each[at]) for each in (marks.longitude, marks.latitude, marks.ellipsoid_height))
        place: dict[str, object] = {"type": "Point", "coordinates": [lon, lat, up - 1.2]}
        made.append(feature(place, mark=str(name), **{"Ellipsoidal height": up, "Elevation": up - 1.5}))
    geojson(tmp_path / "marks.geojson", made)
    started = new_job(tmp_path)
    text = Path(started.path).read_text().replace("\n# ", " ")
    by_key = {one.question.key: one.question for one in started.asked}
    assert [each.value for each in by_key["ellipsoid_height"].candidates] == ['"Ellipsoidal height"']
    assert ' ellipsoid_height = "Ellipsoidal height"' in text
    assert '"Elevation"' in by_key["target.height"].asks and '\nheight = "Elevation"' in text


@pytest.mark.parametrize(("layer", "states"), [("EPSG:4326", "EPSG:4979"), ("EPSG:4167", "EPSG:4167")])
def test_a_layer_that_says_its_datum_is_read_by_it(tmp_path: Path, layer: str, states: str) -> None:
    """Unlike GeoJSON a GeoPackage can say any: the block's crs has to be the layer's."""
    job = job_of()
    lay(tmp_path, job)
    write_gpkg(job.rows, tmp_path / "rover.gpkg", layer)
    written = tomllib.loads(Path(new_job(tmp_path).path).read_text())
    assert written.get("source", {}).get("crs", written["points"][0].get("crs")) == states


@pytest.mark.parametrize("plane", [False, True])
def test_a_layer_saved_without_a_crs_is_read_as_one_that_says_none(tmp_path: Path, plane: bool) -> None:
    """GDAL writes "Undefined SRS" then. Degrees take the datum of the grid; of metres the grid is asked for."""
    job = job_of()
    lay(tmp_path, job)
    rows = dict(job.rows)
    if plane:
        east, north = job.plan.place.projection.forward(rows["longitude"], rows["latitude"])
        rows |= {"longitude": east, "latitude": north}
    with pytest.warns(UserWarning, match="crs"):
        write_gpkg(rows, tmp_path / "rover.gpkg", None)
    text = Path(new_job(tmp_path).path).read_text()
    written = tomllib.loads(text)
    assert "Undefined" not in text
    stated = written.get("source", {}).get("crs", written["points"][0].get("crs"))
    assert stated == (None if plane else "EPSG:4959")


def test_a_definition_is_written_so_that_it_is_read_again(tmp_path: Path) -> None:
    """The grid of no code that a layer is in, as WKT, whose quotes TOML has to escape."""
    job = job_of()
    lay(tmp_path, job)
    rows = dict(job.rows)
    east, north = job.plan.place.projection.forward(rows["longitude"], rows["latitude"])
    site = CRS.from_proj4("+proj=tmerc +lat_0=0 +lon_0=173 +k=0.9996 +x_0=1600000 +y_0=10000000 +ellps=GRS80").to_wkt()
    write_gpkg(rows | {"longitude": east, "latitude": north}, tmp_path / "rover.gpkg", site)
    written = tomllib.loads(Path(new_job(tmp_path).path).read_text())
    stated = written.get("source", {}).get("crs", written["points"][0].get("crs"))
    assert CRS.from_wkt(stated).is_projected


def test_the_crs_of_geometries_in_degrees_is_not_that_of_columns_in_metres(tmp_path: Path) -> None:
    """A grid is never geographic: the job's own is asked for, or found, by where the geometries lie."""
    job = job_of()
    lay(tmp_path, job)
    rows = job.rows
    east, north = job.plan.place.projection.forward(rows["longitude"], rows["latitude"])
    lonlat = zip(rows["longitude"].tolist(), rows["latitude"].tolist(), strict=True)
    points = np.array([struct.pack("<BIdd", 1, 1, *pair) for pair in lonlat], object)
    fields = {"name": rows["name"].astype(object), "code": rows["code"].astype(object), "East": east, "North": north}
    fields |= {"Ellipsoidal height": rows["height"], "time": rows["time"].astype("datetime64[ms]")}
    pyogrio.raw.write(
        tmp_path / "rover.gpkg", points, list(fields.values()), list(fields), geometry_type="Point", crs="EPSG:4167"
    )
    text = Path(new_job(tmp_path).path).read_text()
    written = tomllib.loads(text)
    stated = [written["points"][0].get("crs"), written.get("source", {}).get("crs"), written["target"].get("grid")]
    assert written["points"][0]["columns"]["easting"] == "East"
    assert "EPSG:4167" not in stated
    assert '"EPSG:2193"' in text  # NZTM2000, by its place
