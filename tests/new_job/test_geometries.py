"""Heights of a layer's geometries beside columns that say heights: Z that nobody filled in is not taken."""

import struct
import tomllib
from pathlib import Path

import numpy as np
import pyogrio
import pytest
from exports_made import feature, geojson
from folders_made import job_of, lay
from pyproj.crs import CRS
from simulate_files import write_gpkg

from pipeline.new_job import new_job
from pipeline.new_job.geometries import flat_of


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
        place = {"type": "Point", "coordinates": [longitude, latitude, 0.0 if flat else height]}
        other = height + (0.0 if flat else 2.0)
        made.append(feature(place, name=name, time=f"{time}Z", code=code, ellipsoid_height=other))
    geojson(tmp_path / "rover.geojson", made)
    started = new_job(tmp_path)
    (block,) = tomllib.loads(Path(started.path).read_text())["points"]
    text = Path(started.path).read_text().replace("\n# ", " ")
    assert block["columns"].get("height") == ("ellipsoid_height" if flat else None)
    assert ("Z is 0 in all rows" in text) == flat
    assert ('"ellipsoid_height" has other heights than the geometry' in text) != flat


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
