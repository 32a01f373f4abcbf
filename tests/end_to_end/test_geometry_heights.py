"""Heights of a register that are the Z of its geometries: above the ellipsoid in GeoJSON by its standard (RFC 7946).

The job file says a height datum; a base is off by some metres, so that neither shift is any less likely. In Canterbury
the geoid is some 10 m above the ellipsoid, in Central Java some 20 m.
"""

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from running import record_of
from simulate import CENTRAL_JAVA, Place, Plan, Simulation, simulate
from simulate_plan import turn_enu

from pipeline.issue.record_types import Record

DAY = Plan(sessions=1, points=8, ties=1, checks=2, marks=3, noise=False)
SAID = "the heights of its marks are the Z of its geometries"


def record(folder: Path, job: Simulation, features: list[dict[str, Any]], **document: Any) -> Record:
    """The record of a job whose register is a GeoJSON file."""
    path = job.write(folder)
    text = json.dumps({"type": "FeatureCollection", "features": features} | document)
    (folder / "register.geojson").write_text(text, encoding="utf-8")
    as_geojson(path)
    return record_of(path)


def as_geojson(path: Path, name: str = "register.geojson") -> None:
    (line,) = [one for one in path.read_text(encoding="utf-8").splitlines() if one.startswith("file = ")]
    path.write_text(path.read_text(encoding="utf-8").replace(line, f'file = "{name}"'), encoding="utf-8")


def marks(job: Simulation, ellipsoidal: bool, attribute: bool = False) -> list[dict[str, Any]]:
    """The marks as features, on the grid as attributes; their heights as Z, or as attributes."""
    truth = job.marks
    found = []
    for mark, east, north, height in zip(*(job.register[name] for name in NAMES), strict=True):
        longitude, latitude, above = truth.geographic(mark)
        z = above if ellipsoidal else float(height)
        said = {"mark": mark, "easting": float(east), "northing": float(north)}
        place = {"type": "Point", "coordinates": [longitude, latitude, z]}
        found.append({"type": "Feature", "properties": said | ({"height": z} if attribute else {}), "geometry": place})
    return found


NAMES = ("mark", "easting", "northing", "height")


def off(place: Place | None = None, up: float = 3.0, plan: float = 1.2) -> Simulation:
    """A day whose base is off by so many metres."""
    job = simulate(DAY if place is None else replace(DAY, place=place))
    base_to(job, np.array([plan, -0.4 * plan, up]))
    return job


def base_to(job: Simulation, enu: Any) -> None:
    """Let the raw readings of the day be off by (3,) metres east, north, up in all."""
    longitude, latitude = job.rows["longitude"], job.rows["latitude"]
    own = turn_enu(longitude, latitude, np.broadcast_to(enu, (len(longitude), 3)))
    job.displace(np.ones(len(longitude), bool), own + job.shifts[0])


def told(of: Record) -> list[str]:
    return [note for note in of["notes"] if SAID in note]


@pytest.mark.parametrize("ellipsoidal", [True, False])
def test_geometry_of_geojson_is_told_by_how_much_heights_may_be_off(ellipsoidal: bool, tmp_path: Path) -> None:
    """Nobody can say which it is, as all checks agree either way; if ellipsoidal, all heights are some 10 m off."""
    job = off()
    of = record(tmp_path, job, marks(job, ellipsoidal))
    assert of["verdict"] == "proven" and of["doubts"] == []
    (note,) = told(of)
    apart = job.marks.geographic("CM1")[2] - job.marks.of("CM1")[2]
    assert note.startswith("register.geojson: ") and 'write height = "ellipsoid" in [control]' in note
    said = re.search(r"off by the geoid separation, (\S+) m", note)
    assert said is not None and float(said[1]) == pytest.approx(apart, abs=0.2)  # it differs among the marks


def test_heights_that_are_attributes_are_let_be(tmp_path: Path) -> None:
    job = off()
    assert told(record(tmp_path, job, marks(job, False, attribute=True))) == []


def test_a_separation_that_no_base_is_off_by_shows_which_it_is(tmp_path: Path) -> None:
    """The base would be off by some 17 m and more."""
    job = off(CENTRAL_JAVA)
    assert told(record(tmp_path, job, marks(job, False))) == []


def test_so_does_a_base_on_a_known_position(tmp_path: Path) -> None:
    job = off(up=0.02, plan=0.01)
    assert told(record(tmp_path, job, marks(job, False))) == []


@pytest.mark.parametrize(("crs", "count"), [("EPSG:4959", 1), ("EPSG:4167", 0)])
def test_a_layer_counts_from_the_ellipsoid_where_its_crs_does(crs: str, count: int, tmp_path: Path) -> None:
    """NZGD2000 with ellipsoidal heights; without them, Z may be anything, and is mostly the height that is wanted."""
    job = off()
    job.job["control"]["crs"] = crs
    path = job.write(tmp_path)
    features = marks(job, False)
    places = [shapely.Point(one["geometry"]["coordinates"]) for one in features]
    frame = geopandas.GeoDataFrame({"mark": [one["properties"]["mark"] for one in features]}, geometry=places, crs=crs)
    frame.to_file(tmp_path / "register.gpkg", layer="marks", driver="GPKG")
    as_geojson(path, "register.gpkg")
    assert len(told(record_of(path))) == count
