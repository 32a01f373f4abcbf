"""X, Y, Z from the earth's centre in a geometry: read where the job states so, and else refused by name.

Places by the closed form of EPSG method 9602.
"""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import GRS80, to_geocentric
from exports_made import block, feature, find, geojson, read

from pipeline.control import RegisterFrame, read_register
from pipeline.problems import Problems

PLACES = np.array([(174.7 + n / 1000, -36.8, 12.0 + n) for n in range(8)])
XYZ = to_geocentric(*PLACES.T, GRS80)


def write(path: Path, places: np.ndarray, word: str = "name", crs: str | None = None) -> None:
    given = {} if crs is None else {"crs": {"type": "name", "properties": {"name": crs}}}
    features = [
        feature({"type": "Point", "coordinates": place}, **{word: f"P{n}", "time": f"2026-03-02T07:3{n}:00Z"})
        for n, place in enumerate(places.tolist())
    ]
    geojson(path, features, **given)


def refused(folder: Path, stated: str) -> str:
    _, (problem,) = find(folder, block("a.geojson", {"name": "name", "time": "time"}, crs=stated))
    return problem


@pytest.mark.parametrize("stated", ["EPSG:4959", "EPSG:2193"])
def test_without_a_crs_it_is_refused_by_name(stated: str, tmp_path: Path) -> None:
    write(tmp_path / "a.geojson", XYZ)
    told = refused(tmp_path, stated)
    assert "geocentric X, Y, Z" in told and stated in told and "state the geocentric crs" in told


def test_another_crs_in_the_file_is_refused_with_both(tmp_path: Path) -> None:
    write(tmp_path / "a.geojson", XYZ, crs="urn:ogc:def:crs:EPSG::4978")
    told = refused(tmp_path, "EPSG:4959")
    assert "EPSG:4959" in told and 'crs = "EPSG:4978"' in told


def test_degrees_are_no_x_y_z(tmp_path: Path) -> None:
    write(tmp_path / "a.geojson", PLACES)
    told = refused(tmp_path, "EPSG:4958")
    assert "in degrees" in told and "EPSG:4958" in told and "geographic" in told


@pytest.mark.parametrize("crs", [None, "EPSG:4958"])
def test_it_is_read_where_the_block_states_it(crs: str | None, tmp_path: Path) -> None:
    write(tmp_path / "a.geojson", XYZ, crs=crs)
    found = read(tmp_path, block("a.geojson", {"name": "name", "time": "time"}, crs="EPSG:4958"))
    got = np.column_stack([found[each] for each in ("first", "second", "third")])
    np.testing.assert_allclose(got, XYZ, rtol=0, atol=1e-6)


@pytest.mark.parametrize("kind", ["geographic", "projected"])
def test_a_registers_is_one_problem(kind: str, tmp_path: Path) -> None:
    write(tmp_path / "marks.geojson", XYZ, "mark")
    problems = Problems()
    assert read_register(tmp_path / "marks.geojson", RegisterFrame(kind, True), problems) is None
    (problem,) = problems.found
    assert "geocentric" in problem.what and "longitude, latitude" in problem.fix


def test_a_long_northing_is_no_radius(tmp_path: Path) -> None:
    """UTM at 57 degrees north has northings of 6,320 km, within the earth's radii."""
    places = np.column_stack([500_000.0 + 10 * np.arange(8), np.full(8, 6_330_000.0), np.full(8, 20.0)])
    write(tmp_path / "a.geojson", places)
    found = read(tmp_path, block("a.geojson", {"name": "name", "time": "time"}, crs="EPSG:25832"))
    np.testing.assert_array_equal(found["second"], places[:, 1])
