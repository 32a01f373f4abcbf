"""GeoJSON and GeoPackage: read without a trace, geometries told apart, broken files named with their line."""

import datetime
import hashlib
import json
import os
import sqlite3
import struct
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest
from exports_made import block, feature, find, geojson, package, point, read, times
from packages_made import header, stored_package

from pipeline.files.geopackages import describe, opened
from pipeline.problems import JobError
from pipeline.read.exports import read_batches
from pipeline.read.geometry_points import points_of
from pipeline.read.stored_types import Stored
from pipeline.tables import TIME as READINGS_TIME

MAPPED = {"name": "name", "time": "time"}
TIME = "2026-03-02T07:30:00Z"


def at(*coordinates: float) -> dict[str, object]:
    return {"type": "Point", "coordinates": list(coordinates)}


def table(count: int = 3) -> pa.Table:
    return pa.table(
        {
            "name": [f"P{n}" for n in range(count)],
            "time": times(*[TIME] * count),
            "geom": pa.array([point(174.7, -36.8, 12.5)] * count, pa.binary()),
        }
    )


def test_points_of_every_kind_in_both_byte_orders():
    """ISO and older codes for Z; XYM has no Z; an empty point (NaN) and null are no position but no other kind."""
    nan = float("nan")
    cases = [
        (struct.pack("<BI2d", 1, 1, 1, 2), (1, 2, nan), False),
        (struct.pack(">BI2d", 0, 1, 1, 2), (1, 2, nan), False),
        (struct.pack("<BI3d", 1, 1001, 1, 2, 3), (1, 2, 3), False),
        (struct.pack(">BI3d", 0, 1001, 1, 2, 3), (1, 2, 3), False),
        (struct.pack("<BI3d", 1, 0x80000001, 1, 2, 3), (1, 2, 3), False),
        (struct.pack("<BI3d", 1, 2001, 1, 2, 3), (1, 2, nan), False),
        (struct.pack("<BI4d", 1, 3001, 1, 2, 3, 4), (1, 2, 3), False),
        (struct.pack("<BI3d", 1, 1001, nan, nan, nan), (nan, nan, nan), False),
        (None, (nan, nan, nan), False),
        (struct.pack("<BIIBI2d", 1, 4, 1, 1, 1, 1, 2), (nan, nan, nan), True),
        (struct.pack("<BII2d", 1, 2, 1, 1, 2), (nan, nan, nan), True),
        (struct.pack("<BII", 1, 7, 0), (nan, nan, nan), True),
    ]
    for chosen in (cases, cases[2:3] * 5, cases[8:9], cases[3:]):
        column = pa.array([None, *(wkb for wkb, _, _ in chosen)], pa.binary()).slice(1)
        found = points_of(column)
        np.testing.assert_array_equal(np.array([found.x, found.y, found.z]).T, [xyz for _, xyz, _ in chosen])
        assert found.other.tolist() == [other for _, _, other in chosen]


def test_geojson_geometries(tmp_path):
    line = {"type": "LineString", "coordinates": [[174.7, -36.8], [174.8, -36.9]]}
    features = [
        feature(at(174.7, -36.8, 12.5), name="001", time="2026-03-02T20:30:00+13:00"),
        feature(None, name="002", time=TIME),
        feature(line, name="003", time=TIME),
        feature(at(174.7, -36.8), name="004", time=TIME),
        feature(at(174.7, -96.8, 1), name="005", time=TIME),
        feature(at(174.7, -36.8, 12.5), name=6, time=None),
    ]
    geojson(tmp_path / "a.geojson", features)
    found = read(tmp_path, block("a.geojson", MAPPED))
    assert found["source_row"].to_pylist() == [1, 2, 3, 4, 5, 6]
    assert found["name"].to_pylist() == ["001", "002", "003", "004", "005", "6"]
    assert list(zip(found["held"].to_pylist(), found["detail"].to_pylist(), strict=True)) == [
        (0, None),
        (2, "no geometry"),
        (1, "the geometry is not a point"),
        (2, "no height"),
        (1, 'latitude: "-96.8" is beyond 90 degrees'),
        (3, "no time"),
    ]
    assert found["time"][0].as_py() == datetime.datetime(2026, 3, 2, 7, 30, tzinfo=datetime.UTC)


def test_a_mapped_height_completes_a_flat_geometry_and_wins_over_z(tmp_path):
    features = [
        feature(at(174.7, -36.8), name="a", time=TIME, h=20),
        feature(at(174.7, -36.8, 99), name="b", time=TIME, h="21.5"),
        feature(at(174.7, -36.8, 99), name="c", time=TIME, h=None),
    ]
    geojson(tmp_path / "a.geojson", features)
    found = read(tmp_path, block("a.geojson", MAPPED | {"height": "h"}))
    np.testing.assert_array_equal(found["third"].to_numpy(), [20, 21.5, np.nan])
    assert found["held"].to_pylist() == [0, 0, 2]


def test_naive_geojson_times_are_read_in_the_blocks_zone(tmp_path):
    """The library would read them as UTC, or turn them by the zone of the machine: they stay text until here."""
    texts = ["2026-03-02T20:30:00", "2026/03/02 20:30:00", "2026-03-02 20:30:00.5"]
    geojson(tmp_path / "a.json", [feature(at(174.7, -36.8, 1), name="a", time=text) for text in texts])
    found = read(tmp_path, block("a.json", MAPPED, time_zone="Pacific/Auckland"))
    expected = datetime.datetime(2026, 3, 2, 7, 30, tzinfo=datetime.UTC)
    assert found["time"].to_pylist() == [expected, None, expected.replace(microsecond=500000)]
    assert found["held"].to_pylist() == [0, 4, 0]


def test_carried_values_keep_their_types_and_those_of_objects_too_and_lists_become_text(tmp_path):
    values = {"flag": True, "count": 3, "size": 1.5, "list": [1, 2], "tree": {"a": 1}, "day": "2026-03-02", "id": "x"}
    geojson(tmp_path / "a.geojson", [feature(at(174.7, -36.8, 1), name="a", time=TIME, **values)])
    found = read(tmp_path, block("a.geojson", MAPPED)).to_pylist()[0]
    assert {name: found[name] for name in ("flag", "count", "size", "day", "id")} == {
        name: values[name] for name in ("flag", "count", "size", "day", "id")
    }
    assert json.loads(found["list"]) == [1, 2]
    assert found["tree.a"] == 1 and "tree" not in found


def test_package_types_as_promised_by_the_export(tmp_path):
    rich = table().append_column("blob", pa.array([b"\x00\xff", b"ab", None], pa.binary()))
    rich = rich.append_column("day", pa.array([1, 2, None], pa.date32()))
    rich = rich.append_column("seen", times("2026-03-02T07:30:00.123Z", None, TIME))
    rich = rich.append_column("small", pa.array([1, 2, None], pa.int16()))
    package(tmp_path / "a.gpkg", rich)
    ((export,), problems) = find(tmp_path, block("a.gpkg", MAPPED))
    assert problems == []
    (batch,) = read_batches(export)
    assert tuple(batch.schema)[-4:] == export.carried
    assert batch["blob"].to_pylist() == ["00ff", "6162", None]
    assert batch["seen"].to_pylist()[0] == datetime.datetime(2026, 3, 2, 7, 30, 0, 123000, tzinfo=datetime.UTC)
    assert batch["small"].type == pa.int16()
    assert batch["source_row"].to_pylist() == [1, 2, 3]


def test_feature_numbers_of_a_package_are_its_own(tmp_path):
    package(tmp_path / "a.gpkg", table(5))
    connection = sqlite3.connect(tmp_path / "a.gpkg")
    for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f'DROP TRIGGER "{trigger}"')
    connection.execute("DELETE FROM points WHERE fid IN (1, 3)")
    connection.commit()
    connection.close()
    assert read(tmp_path, block("a.gpkg", MAPPED))["source_row"].to_pylist() == [2, 4, 5]


@pytest.mark.parametrize("journal", ["delete", "wal"])
def test_reading_a_package_leaves_no_trace(tmp_path, journal):
    package(tmp_path / "a.gpkg", table(1000))
    connection = sqlite3.connect(tmp_path / "a.gpkg")
    connection.execute(f"PRAGMA journal_mode = {journal}")
    connection.close()
    before = hashlib.sha256((tmp_path / "a.gpkg").read_bytes()).hexdigest()
    os.utime(tmp_path / "a.gpkg", (1, 1))
    ((export,), _) = find(tmp_path, block("a.gpkg", MAPPED))
    for _ in read_batches(export, 100):
        assert os.listdir(tmp_path) == ["a.gpkg"]
    assert export.sha256 == before == hashlib.sha256((tmp_path / "a.gpkg").read_bytes()).hexdigest()
    assert (tmp_path / "a.gpkg").stat().st_mtime == 1
    assert os.listdir(tmp_path) == ["a.gpkg"]


def test_a_package_with_changes_outside_the_file_is_a_problem(tmp_path):
    package(tmp_path / "a.gpkg", table())
    (tmp_path / "a.gpkg-wal").write_bytes(b"pages")
    (problem,) = find(tmp_path, block("a.gpkg", MAPPED))[1]
    assert problem == "a.gpkg: another program has unsaved changes in a.gpkg-wal -> close it there, then run again"


def test_layers_are_named_or_asked_for(tmp_path):
    for layer in ("north", "south"):
        package(tmp_path / "a.gpkg", table(), layer)
    assert find(tmp_path, block("a.gpkg", MAPPED))[1] == [
        'a.gpkg: the GeoPackage has several layers: "north", "south" -> name one of them as layer,'
        ' or several as layer = ["north", "south"]'
    ]
    assert find(tmp_path, block("a.gpkg", MAPPED, layer="nort"))[1] == [
        'a.gpkg: there is no layer "nort" -> nearest: "north"; there are "north", "south"'
    ]
    exports, problems = find(tmp_path, block("a.gpkg", MAPPED, layer="north"), block("a.gpkg", MAPPED, layer="south"))
    assert ([export.shown for export in exports], problems) == (["a.gpkg:north", "a.gpkg:south"], [])
    exports, problems = find(tmp_path, block(("a.gpkg",), MAPPED, layer=["north", "south", "north"]))
    assert ([(e.shown, e.file) for e in exports], problems) == (
        [("a.gpkg:north", "a.gpkg"), ("a.gpkg:south", "a.gpkg")],
        [],
    )
    assert [sum(batch.num_rows for batch in read_batches(export)) for export in exports] == [3, 3]
    assert [export.shown for export in find(tmp_path, block("a.gpkg", MAPPED, layer="north"))[0]] == ["a.gpkg"]
    (problem,) = find(tmp_path, block("a.gpkg", MAPPED, layer=["north", "soth"]))[1]
    assert problem == 'a.gpkg:soth: there is no layer "soth" -> nearest: "south"; there are "north", "south"'
    both = block("a.gpkg", MAPPED, layer=["north", "south"])
    (problem,) = find(tmp_path, both, block("a.gpkg", MAPPED, layer="south"))[1]
    assert "belongs to two blocks" in problem


@pytest.mark.parametrize(
    ("layer", "stated", "agree"),
    [
        ("EPSG:4167", "EPSG:4959", True),  # NZGD2000 without and with heights
        ("EPSG:4326", "EPSG:4979", True),
        ("EPSG:2193", "EPSG:2193+7839", True),
        ("EPSG:4326", "EPSG:4959", False),
        ("EPSG:2193", "EPSG:4959", False),
        ("EPSG:32759", "EPSG:32760", False),  # the neighbouring zone
        ("EPSG:4283", "EPSG:7844", False),  # GDA94 and GDA2020, 1.8 m apart
        ("EPSG:7415", "EPSG:28992+5709", True),  # the same heights, put together
    ],
)
def test_the_layers_crs_against_the_blocks(tmp_path, layer, stated, agree):
    package(tmp_path / "a.gpkg", table(), crs=layer)
    problems = find(tmp_path, block("a.gpkg", MAPPED, crs=stated))[1]
    assert (problems == []) == agree
    if not agree:
        assert problems[0].startswith(f"a.gpkg: the layer is in {layer} but the block's crs is {stated}")
    values = {"lon": [174.7] * 3, "lat": [-36.8] * 3, "h": [1.0] * 3}
    package(
        tmp_path / "b.gpkg", pa.table({name: table()[name] for name in ("name", "time", "geom")} | values), crs=layer
    )
    position = {"longitude": "lon", "latitude": "lat", "height": "h"}
    assert find(tmp_path, block("b.gpkg", MAPPED | position, crs=stated))[1] == []  # the geometry is not used


def test_a_layer_without_a_crs_says_nothing_against_the_blocks(tmp_path):
    """srs_id 0 and -1 are undefined systems (OGC 12-128r19, clause 1.1.2)."""
    for name, srs_id in (("a", 0), ("b", -1)):
        shape = header(srs_id) + point(174.7, -36.8, 12.5)
        stored_package(tmp_path / f"{name}.gpkg", {"t": "TEXT"}, [{"t": TIME}], geometry=[shape], srs_id=srs_id)
        assert find(tmp_path, block(f"{name}.gpkg", {"time": "t"}))[1] == []


#: How GDAL defines the system of a layer that was given none (its own srs_id, 99999, organization "GDAL").
UNDEFINED = (
    'LOCAL_CS["Undefined SRS",LOCAL_DATUM["unknown",32767],UNIT["unknown",0],AXIS["Easting",EAST],'
    'AXIS["Northing",NORTH]]'
)


@pytest.mark.parametrize(
    ("definition", "says_nothing"),
    [
        (UNDEFINED, True),
        (
            'ENGCRS["Undefined Cartesian SRS with unknown unit",EDATUM[""],CS[Cartesian,2],AXIS["(E)",east],'
            'AXIS["(N)",north],LENGTHUNIT["metre",1]]',
            True,
        ),
        ('LOCAL_CS["",UNIT["m",1]]', True),
        ('LOCAL_CS["unnamed",UNIT["m",1]]', True),
        ('LOCAL_CS["Site",UNIT["m",1],AXIS["Easting",EAST],AXIS["Northing",NORTH]]', False),
    ],
)
def test_a_system_of_its_own_number_that_says_undefined_says_nothing(tmp_path, definition, says_nothing):
    shape = header(99999) + point(174.7, -36.8, 12.5)
    path = tmp_path / "a.gpkg"
    stored_package(path, {"t": "TEXT"}, [{"t": TIME}], geometry=[shape], srs_id=99999)
    with sqlite3.connect(path) as file:
        file.execute("INSERT INTO gpkg_spatial_ref_sys VALUES ('x', 99999, 'GDAL', 99999, ?, '')", (definition,))
    file.close()
    problems = find(tmp_path, block("a.gpkg", {"time": "t"}))[1]
    if says_nothing:
        assert problems == []
    else:
        (problem,) = problems
        assert "a local site system: save the layer with the CRS that its positions are in" in problem


def test_geometries_of_an_undefined_system_in_a_layer_that_was_given_one_since(tmp_path):
    """The layer's number was put right, and its geometries still bear the undefined one's."""
    shape = header(99999) + point(174.7, -36.8, 12.5)
    path = tmp_path / "a.gpkg"
    stored_package(path, {"t": "TEXT"}, [{"t": TIME}], geometry=[shape])
    with sqlite3.connect(path) as file:
        file.execute("INSERT INTO gpkg_spatial_ref_sys VALUES ('x', 99999, 'GDAL', 99999, ?, '')", (UNDEFINED,))
    file.close()
    found = read(tmp_path, block("a.gpkg", {"time": "t"}))
    assert (found["held"].to_pylist(), found["first"].to_pylist()) == ([0], [174.7])


@pytest.mark.parametrize("name", ["Undefined SRS", "urn:ogc:def:crs:OGC::undefined", "unknown", ""])
def test_a_geojson_that_names_an_undefined_crs_says_nothing(tmp_path, name):
    stated = {"type": "name", "properties": {"name": name}}
    geojson(tmp_path / "a.geojson", [feature(at(174.7, -36.8, 1), name="a", time=TIME)], crs=stated)
    assert find(tmp_path, block("a.geojson", MAPPED))[1] == []


def test_what_to_write_where_a_layer_is_in_another_crs(tmp_path):
    """Both codes and names; of a CRS that has no code its name; and a height datum that the block leaves out."""
    package(tmp_path / "a.gpkg", table(), crs="EPSG:4283")
    (problem,) = find(tmp_path, block("a.gpkg", MAPPED, crs="EPSG:7843"))[1]
    assert "is in EPSG:4283 but the block's crs is EPSG:7843 (GDA94, GDA2020)" in problem
    assert 'state crs = "EPSG:4283" for this block if the layer is right' in problem
    own = "+proj=tmerc +lat_0=0 +lon_0=173 +k=0.9999 +x_0=1600000 +y_0=9000000 +ellps=GRS80 +type=crs"
    package(tmp_path / "b.gpkg", table(), crs=own)
    (problem,) = find(tmp_path, block("b.gpkg", MAPPED, crs="EPSG:2193"))[1]
    assert len(problem) < 300 and "state that CRS, as WKT, for this block" in problem
    package(tmp_path / "c.gpkg", table(), crs="EPSG:7415")
    (problem,) = find(tmp_path, block("c.gpkg", MAPPED, crs="EPSG:28992"))[1]
    assert "is in EPSG:7415 (" in problem
    assert "with heights in a different datum from the block's crs EPSG:28992" in problem
    with_height = table().append_column("h", pa.array([1.0, 2.0, 3.0]))
    package(tmp_path / "d.gpkg", with_height, crs="EPSG:7415")
    assert find(tmp_path, block("d.gpkg", MAPPED | {"height": "h"}, crs="EPSG:28992"))[1] == []


def test_geojson_is_any_geographic_frame_but_no_grid(tmp_path):
    geojson(tmp_path / "a.geojson", [feature(at(174.7, -36.8, 1), name="a", time=TIME)])
    assert find(tmp_path, block("a.geojson", MAPPED, crs="EPSG:4959"))[1] == []
    (problem,) = find(tmp_path, block("a.geojson", MAPPED, crs="EPSG:2193"))[1]
    assert problem.startswith("a.geojson:1: the positions are in degrees")
    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2193"}}
    geojson(tmp_path / "b.geojson", [feature(at(1757000, 5920000, 1), name="a", time=TIME)], crs=named)
    assert find(tmp_path, block("b.geojson", MAPPED, crs="EPSG:2193"))[1] == []
    (problem,) = find(tmp_path, block("b.geojson", MAPPED, crs="EPSG:4959"))[1]
    assert problem.startswith("b.geojson: the layer is in EPSG:2193")


def test_projected_geometries_in_feet(tmp_path):
    flat = table(1).set_column(2, "geom", pa.array([point(1000, 2000, 3000)], pa.binary()))
    package(tmp_path / "a.gpkg", flat, crs="EPSG:2193")
    found = read(tmp_path, block("a.gpkg", MAPPED, crs="EPSG:2193", units="foot")).to_pylist()[0]
    np.testing.assert_allclose(
        [found["first"], found["second"], found["third"]], [304.8, 609.6, 914.4], rtol=0, atol=1e-9
    )


def _broken(text: str) -> list[tuple[str, int]]:
    lines = text.split("\n")
    colon = next(number for number, line in enumerate(lines, start=1) if '"name": "b"' in line)
    return [
        (text.replace('"name": "b"', '"name" "b"'), colon),
        (text[: text.index('"b"') + 1], colon),
        (text[:-1], len(lines)),
        (text + " more", len(lines)),
    ]


def test_broken_geojson_names_the_line(tmp_path):
    geojson(tmp_path / "a.geojson", [feature(at(174.7, -36.8, 1), name=name, time=TIME) for name in "ab"])
    text = (tmp_path / "a.geojson").read_text()
    for content, line in _broken(text):
        (tmp_path / "a.geojson").write_text(content)
        (problem,) = find(tmp_path, block("a.geojson", MAPPED))[1]
        assert problem.startswith(f"a.geojson:{line}: the file cannot be read: ")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.geojson", b'{"a": 1}'),
        ("a.geojson", b"name,time\n"),
        ("a.json", b"[1, 2]"),
        ("a.gpkg", b"name,time\n"),
        ("a.gpkg", b"SQLite format 3\0" + b"x" * 5000),
        ("a.csv", b"SQLite format 3\0" + b"x" * 5000),
        ("a.txt", b"PK\x03\x04" + b"x" * 5000),
        ("a.xlsx", b"PK\x03\x04"),
        ("a", b"name,time\n"),
        ("a.geojson", b""),
        ("a.gpkg", b""),
        ("a.geojson", '{"type": "FeatureCollection", "features": [], "name": "é"}'.encode("cp1252")),
    ],
)
def test_what_is_not_what_it_says(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    (problem,) = find(tmp_path, block(name, MAPPED))[1]
    assert problem.startswith(f"{name}:")


def test_naive_times_of_a_line_of_features_each_are_of_the_blocks_zone(tmp_path):
    """GDAL's own driver for that form would turn them by a rule of its own."""
    one = json.dumps(feature(at(174.7, -36.8, 1), name="a", time="2026-03-02T20:30:00"))
    (tmp_path / "a.json").write_text(f"{one}\n{one}\n")
    found = read(tmp_path, block("a.json", MAPPED, time_zone="Pacific/Auckland"))
    assert found["time"].to_pylist() == [datetime.datetime(2026, 3, 2, 7, 30, tzinfo=datetime.UTC)] * 2


def test_an_empty_collection_has_no_columns_and_no_rows(tmp_path):
    geojson(tmp_path / "a.geojson", [])
    ((export,), problems) = find(tmp_path, block("a.geojson", MAPPED))
    assert problems == []
    assert list(read_batches(export)) == []


@pytest.mark.parametrize(
    ("stated", "known"),
    [
        (None, True),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::4959"}}, True),
        ({"type": "name", "properties": {"name": "http://www.opengis.net/def/crs/EPSG/0/4959"}}, True),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}, True),  # often written unasked
        ({"type": "name", "properties": {"name": "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}}, True),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS27"}}, False),  # NAD27
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS83"}}, False),  # NAD83
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::4301"}}, False),  # Tokyo
        ({"type": "name", "properties": {"name": "EPSG:9489"}}, False),  # SRGI2013 / UTM zone 49S
        ({"type": "name", "properties": {"name": "NZGD2000"}}, False),
        ({"type": "name", "properties": {"name": "http://www.opengis.net/def/crs/EPSG/0/2193"}}, False),
        ({"type": "name", "properties": {"name": "urn:ogc:def:crs,crs:EPSG::2193,crs:EPSG::7839"}}, False),
        ({"type": "name", "properties": {"name": "site grid"}}, False),
        ({"type": "link", "properties": {"href": "grid.prj"}}, False),
        ("EPSG of the site", False),
    ],
)
def test_a_crs_member_that_is_not_the_blocks_or_says_nothing(tmp_path, stated, known):
    """Names as the standard of 2008 and OGC 09-048r5 write them; a link leads where nobody looks."""
    geojson(tmp_path / "a.geojson", [feature(at(174.7, -36.8, 1), name="a", time=TIME)])
    text = json.loads((tmp_path / "a.geojson").read_text())
    (tmp_path / "a.geojson").write_text(json.dumps({"crs": stated, **text}))
    problems = find(tmp_path, block("a.geojson", MAPPED, crs="EPSG:4959"))[1]
    assert (problems == []) == known


def test_a_package_with_a_damaged_page_is_a_problem_and_stops_the_reading(tmp_path, monkeypatch):
    """GDAL 3.12 ends such a layer early without an error (2 485 of 20 000 rows here): rows would vanish."""
    package(tmp_path / "a.gpkg", table(20_000))
    ((export,), _) = find(tmp_path, block("a.gpkg", MAPPED))
    content = bytearray((tmp_path / "a.gpkg").read_bytes())
    page = len(content) // 10 // 4096 * 4096
    content[page : page + 8192] = b"\xff" * 8192
    (tmp_path / "a.gpkg").write_bytes(content)
    (problem,) = find(tmp_path, block("a.gpkg", MAPPED))[1]
    assert problem == "a.gpkg: the GeoPackage cannot be read: database disk image is malformed"
    with pytest.raises(JobError, match=r"a\.gpkg: the file changed while it was being read"):
        list(read_batches(export, 1000))
    with pytest.raises(JobError, match=r"a\.gpkg: the GeoPackage cannot be read"):
        list(read_batches(replace(export, signature=None), 1000))
    whole = Stored(describe(opened(tmp_path / "a.gpkg"), "points"), 20_000, (pa.string(), READINGS_TIME), True)
    monkeypatch.setattr("pipeline.read.geopackage_layers.look_into", lambda *_: whole)
    with pytest.raises(JobError, match=r"of 20,000 rows; it is damaged"):
        list(read_batches(replace(export, signature=None), 1000))


def test_a_table_without_geometry_needs_position_columns(tmp_path):
    package(tmp_path / "a.gpkg", table())
    connection = sqlite3.connect(tmp_path / "a.gpkg")
    connection.execute("CREATE TABLE plain (fid INTEGER PRIMARY KEY, name TEXT, time TEXT, lon TEXT, lat TEXT, h REAL)")
    connection.execute(f"INSERT INTO plain VALUES (7, 'P1', '{TIME}', '174.7', '-36.8', 12.5)")
    connection.execute("INSERT INTO gpkg_contents (table_name, data_type) VALUES ('plain', 'attributes')")
    connection.commit()
    connection.close()
    (problem,) = find(tmp_path, block("a.gpkg", MAPPED, layer="plain"))[1]
    assert "there is no geometry and the columns map no position" in problem
    position = {"longitude": "lon", "latitude": "lat", "height": "h"}
    found = read(tmp_path, block("a.gpkg", MAPPED | position, layer="plain")).to_pylist()[0]
    assert (found["first"], found["second"], found["third"], found["source_row"]) == (174.7, -36.8, 12.5, 7)


def test_reading_text_loads_no_vector_library():
    """Start-up counts for small jobs: what is not needed is not loaded."""
    code = "import sys; import pipeline.read.exports; assert 'pyogrio' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)


ODD_NAMES = [
    "new!b", "b;v2", "zip!x.zip!y", "a%20b", "a#b", "a?b", "a[b]", "a*b", "a b ", "ümlaut", "-dash", "a:b", "'q\"",
    "http:x", "a|layer=x", "a,b@c", "a\\b", "file:x?mode=ro", "{x}", "a.zip", "GPKG:a", "x.tar.gz",
]  # fmt: skip


@pytest.mark.parametrize("name", ODD_NAMES)
@pytest.mark.parametrize("ending", ["geojson", "gpkg", "csv"])
def test_a_file_is_opened_under_its_own_name(tmp_path, name, ending):
    """Also where that looks like an address, an archive, a pattern or an option."""
    folder = tmp_path / name
    folder.mkdir()
    file = folder / f"{name}.{ending}"
    if ending == "gpkg":
        package(tmp_path / "plain.gpkg", table())
        (tmp_path / "plain.gpkg").rename(file)
    elif ending == "geojson":
        geojson(file, [feature(at(174.7, -36.8, 12.5), name=f"P{n}", time=TIME) for n in range(3)])
    else:
        file.write_text("name,time,lon,lat,h\n" + f"P0,{TIME},174.7,-36.8,12.5\n" * 3)
    columns = MAPPED | ({"longitude": "lon", "latitude": "lat", "height": "h"} if ending == "csv" else {})
    before = sorted(tmp_path.rglob("*"))
    exports, problems = find(folder, block(f"{name}.{ending}", columns))
    assert (problems, [export.shown for export in exports]) == ([], [f"{name}.{ending}"])
    assert read(folder, block(f"{name}.{ending}", columns))["third"].to_pylist() == [12.5] * 3
    assert sorted(tmp_path.rglob("*")) == before
