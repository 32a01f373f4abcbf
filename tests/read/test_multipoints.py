"""Multipoints: of one point they are that point, as programs write layers that may have several (RFC 7946, 3.1.3)."""

import struct
from pathlib import Path

import numpy as np
import pytest
from exports_made import block, feature, geojson, read
from packages_made import PLACE, header, point_z, stored_package

from pipeline.new_job import new_job
from pipeline.problems import JobError

_MAPPED = {"name": "name", "time": "time"}
_TIME = "2026-03-02T07:30:00Z"


def _multipoint(*places: tuple[float, ...], order: str = "<") -> bytes:
    """A stored geometry of such points (OGC 06-103r4, 8.2.3: each has its own head)."""
    mark = 1 if order == "<" else 0
    points = b"".join(struct.pack(f"{order}BI3d", mark, 1001, *place) for place in places)
    return header() + struct.pack(f"{order}BII", mark, 1004, len(places)) + points


def test_a_geopackages_multipoint_of_one_is_a_point_and_of_several_is_told(tmp_path: Path) -> None:
    other = (174.8, -36.9, 20.5)
    shapes = [_multipoint(PLACE), point_z(*other), _multipoint(other, order=">"), _multipoint(PLACE, other),
              _multipoint(), None]  # fmt: skip
    rows = [{"name": f"P{n}", "time": _TIME} for n in range(len(shapes))]
    stored_package(tmp_path / "a.gpkg", {"name": "TEXT", "time": "DATETIME"}, rows, geometry=shapes)
    found = read(tmp_path, block("a.gpkg", _MAPPED))
    nothing = [np.nan] * 3
    expected = np.array([PLACE, other, other, nothing, nothing, nothing])
    np.testing.assert_array_equal(np.column_stack([found[each] for each in ("first", "second", "third")]), expected)
    details = found["detail"].to_pylist()
    assert details[3] == "the geometry is a multipoint of 2 points: export single parts, one point per row"
    assert details[4] == details[5] == "no geometry"


def test_a_layer_of_multipoints_alone_is_read(tmp_path: Path) -> None:
    rows = [{"name": f"P{n}", "time": _TIME} for n in range(40)]
    places = [(174.7 + n / 1000, -36.8, 12.0 + n) for n in range(40)]
    shapes = [_multipoint(place) for place in places]
    stored_package(tmp_path / "a.gpkg", {"name": "TEXT", "time": "DATETIME"}, rows, geometry=shapes)
    found = read(tmp_path, block("a.gpkg", _MAPPED))
    np.testing.assert_array_equal(np.column_stack([found[each] for each in ("first", "second", "third")]), places)


def test_geojson_likewise(tmp_path: Path) -> None:
    shapes = [[[174.7, -36.8, 12.5]], [[174.7, -36.8, 12.5], [174.8, -36.8, 12.5], [174.9, -36.8, 12.5]], []]
    features = [feature({"type": "MultiPoint", "coordinates": each}, name="P", time=_TIME) for each in shapes]
    geojson(tmp_path / "a.geojson", features)
    found = read(tmp_path, block("a.geojson", _MAPPED))
    np.testing.assert_array_equal(found["third"], [12.5, np.nan, np.nan])
    told = "the geometry is a multipoint of 3 points: export single parts, one point per row"
    assert found["detail"].to_pylist()[1:] == [told, "no geometry"]


@pytest.mark.parametrize(
    ("shape", "says"),
    [
        ({"type": "MultiPoint", "coordinates": [[9.1, 48.2, 5.0], [9.2, 48.2, 5.0]]}, "multipoint of 2 points"),
        ({"type": "LineString", "coordinates": [[9.1, 48.2, 5.0], [9.2, 48.2, 5.0]]}, "export a layer of points"),
    ],
)
def test_a_new_job_says_why_geometries_are_no_positions(shape: dict[str, object], says: str, tmp_path: Path) -> None:
    geojson(tmp_path / "a.geojson", [feature(shape, name=f"P{n}", time=_TIME) for n in range(3)])
    with pytest.raises(JobError) as error:
        new_job(tmp_path)
    assert says in str(error.value) and "rename them" not in str(error.value)
