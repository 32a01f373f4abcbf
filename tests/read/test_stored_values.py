"""GeoPackages as SQLite keeps them: what is stored counts, whatever GDAL would make of it."""

import struct
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from exports_made import block, find, read
from packages_made import PLACE, change, header, point_z, stored_package

from pipeline.read.exports import read_batches
from pipeline.read.stated_offsets import StatedOffsets

MAPPED = {"name": "name", "time": "time"}
TIME = "2026-03-02T07:30:00Z"
SEVEN_THIRTY = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)


def rows_of(folder: Any, kind: str, values: list[Any], column: str = "h", **keys: Any) -> list[dict[str, Any]]:
    """The readings of a layer with a column of this declared type and these stored values."""
    rows = [{"name": f"P{n}", "time": TIME, column: value} for n, value in enumerate(values, start=1)]
    columns = {"name": "TEXT", "time": "DATETIME"} | {column: kind}
    stored_package(folder / "a.gpkg", columns, rows)
    return read(folder, block("a.gpkg", MAPPED | keys.pop("map", {"height": "h"}), **keys)).to_pylist()


@pytest.mark.parametrize("kind", ["DATETIME", "TEXT", "DATE", "TIMESTAMP", ""])
@pytest.mark.parametrize(
    ("zone", "local"),
    [
        ("UTC", "2026-03-02T07:30:00"),
        ("Pacific/Auckland", "2026-03-02T20:30:00"),  # NZDT is UTC+13 in March
        ("+12:00", "2026-03-02 19:30:00"),
        ("GPS", "2026-03-02T07:30:18"),  # GPS - UTC is 18 s since 2017 (IERS Bulletin C 52)
    ],
)
def test_a_time_without_a_zone_is_read_in_the_jobs(tmp_path, kind, zone, local):
    for stored in (local, f"{local}.000"):
        found = rows_of(tmp_path, kind, [stored, None], "t", time_zone=zone, map={"time": "t"})
        assert [row["time"] for row in found] == [SEVEN_THIRTY, None]
        found = rows_of(tmp_path, kind, [stored], "t", time_zone=zone, map={"time_end": "t"})
        assert [row["time_end"] for row in found] == [SEVEN_THIRTY]


def test_times_with_and_without_a_zone_in_one_column(tmp_path):
    stored = [
        "2026-03-02T20:30:00",
        "2026-03-02T07:30:00Z",
        "2026-03-02T20:30:00+13:00",
        "2026-03-02",
        "noon",
        20260302,
    ]
    found = rows_of(tmp_path, "DATETIME", stored, "t", time_zone="Pacific/Auckland", map={"time": "t"})
    assert [row["time"] for row in found] == [SEVEN_THIRTY] * 3 + [None] * 3
    shown = [row["detail"].split('"')[1] for row in found[3:]]
    assert shown == ["2026-03-02", "noon", "20260302"]


def test_a_whole_number_is_a_time_where_the_format_says_so(tmp_path):
    """The text 20260302203000 becomes a whole number in a DATETIME column: SQLite gives it numeric affinity."""
    keys = {"time_zone": "Pacific/Auckland", "time_format": "%Y%m%d%H%M%S", "map": {"time": "t"}}
    for kind in ("DATETIME", "INTEGER", "TEXT"):
        assert [row["time"] for row in rows_of(tmp_path, kind, ["20260302203000"], "t", **keys)] == [SEVEN_THIRTY]


def claims_of(folder: Any, zone: str, stored: list[Any]) -> StatedOffsets:
    rows = [{"name": "P", "time": value} for value in stored]
    stored_package(folder / "a.gpkg", {"name": "TEXT", "time": "DATETIME"}, rows)
    ((export,), problems) = find(folder, block("a.gpkg", MAPPED, time_zone=zone))
    claims = StatedOffsets()
    list(read_batches(export, claims=claims))
    assert problems == []
    return claims


def test_times_that_claim_another_zone_are_counted(tmp_path):
    """Read as they say, plainly written (GDAL reads those) or not; how far the job's zone is away comes with them."""
    hours = 3_600_000
    for stored in ([TIME, TIME, None], [TIME, "2026-03-02 07:30:00Z", "2026-03-02T08:00:00"]):
        assert claims_of(tmp_path, "GPS", stored).apart == {-18_000: 2}
        assert claims_of(tmp_path, "Pacific/Auckland", stored).apart == {-13 * hours: 2}
        assert claims_of(tmp_path, "UTC", stored).apart == {}
    assert claims_of(tmp_path, "GPS", [TIME]).first == TIME
    own = ["2026-03-02T20:30:00+13:00", "2026-07-02T19:30:00+12:00"]  # New Zealand's summer and winter
    assert claims_of(tmp_path, "Pacific/Auckland", own).apart == {}
    assert claims_of(tmp_path, "+13:00", own).apart == {-1 * hours: 1}


@pytest.mark.parametrize("kind", ["DOUBLE", "FLOAT", "REAL", "NUMERIC", "INTEGER", "TEXT", "VARCHAR(20)", "BLOB", ""])
def test_numbers_are_what_is_stored(tmp_path, kind):
    """GDAL makes 20.0 of "20,123" and 0 of "abc" and bytes in a DOUBLE column; of a FLOAT one it gives 32 bits."""
    stored = [20.1234567890123, "20,123", "abc", b"\x01\x02", None, float("inf"), "21.5", 7]
    found = rows_of(tmp_path, kind, stored)
    heights = [row["third"] for row in found]
    np.testing.assert_allclose([heights[0], heights[6], heights[7]], [20.1234567890123, 21.5, 7.0], rtol=0, atol=2e-14)
    assert np.isnan(np.array(heights[1:6])).all()
    assert [row["held"] for row in found] == [0, 1, 1, 1, 2, 1, 0, 0]
    assert '"20,123"' in found[1]["detail"] and '"abc"' in found[2]["detail"] and "01 02" in found[3]["detail"]


def test_a_decimal_comma_counts_where_it_is_stated(tmp_path):
    found = rows_of(tmp_path, "DOUBLE", [20.25, "20,123", "1,020.5", "1,5e1"], decimal=",")
    np.testing.assert_array_equal([row["third"] for row in found], [20.25, 20.123, np.nan, 15.0])
    assert [row["held"] for row in found] == [0, 0, 1, 0]


def test_a_float_column_keeps_all_its_digits(tmp_path):
    found = rows_of(tmp_path, "FLOAT", [1756000.12345678], "E", map={"height": "E"})
    assert found[0]["third"] == 1756000.12345678


@pytest.mark.parametrize(
    ("stored", "says"),
    [
        (b"P1", "name: bytes (50 31), not text"),
        (("TEXT", b"K\xe9rb"), 'name: text that is not UTF-8: "K\\xe9rb"'),
        ("P\x001", 'name: a NUL character in "P␀1"'),
    ],
)
def test_a_name_that_is_no_text_spoils_its_row(tmp_path, stored, says):
    found = rows_of(tmp_path, "TEXT", ["P1", stored, "P3"], "n", map={"name": "n"})
    assert [(row["held"], row["detail"]) for row in found] == [(0, None), (1, says), (0, None)]


def test_text_of_another_encoding_is_read_where_it_is_stated(tmp_path):
    found = rows_of(tmp_path, "TEXT", [("TEXT", b"K\xe9rb"), "é"], "n", map={"name": "n"}, encoding="cp1252")
    assert [(row["name"], row["held"]) for row in found] == [("Kérb", 0), ("é", 0)]


def test_columns_that_are_carried_along_keep_what_is_stored(tmp_path):
    """One odd value makes text of its column; the row is not held for it."""
    columns = {"name": "TEXT", "time": "DATETIME", "depth": "DOUBLE", "count": "INTEGER", "seen": "DATETIME",
               "day": "DATE", "flag": "BOOLEAN", "note": "TEXT", "raw": "BLOB", "small": "SMALLINT"}  # fmt: skip
    good = {"name": "P1", "time": TIME, "depth": 1.5, "count": 3, "seen": TIME, "day": "2026-03-02", "flag": 1,
            "note": "x", "raw": b"\1", "small": 5}  # fmt: skip
    odd = {"name": "P2", "time": TIME, "depth": "1,5", "count": 2.5, "seen": "2026-03-02 07:30", "day": "2026-02-30",
           "flag": 7, "note": ("TEXT", b"\xe9"), "raw": "text", "small": 70_000}  # fmt: skip
    stored_package(tmp_path / "a.gpkg", columns, [good])
    plain = read(tmp_path, block("a.gpkg", MAPPED))
    kinds = {name: str(plain.schema.field(name).type) for name in list(columns)[2:]}
    assert kinds == {"depth": "double", "count": "int64", "seen": "timestamp[ms, tz=UTC]", "day": "date32[day]",
                     "flag": "bool", "note": "string", "raw": "string", "small": "int16"}  # fmt: skip
    stored_package(tmp_path / "a.gpkg", columns, [good, odd])
    found = read(tmp_path, block("a.gpkg", MAPPED)).to_pylist()
    assert [row["held"] for row in found] == [0, 0]
    assert [{name: row[name] for name in kinds} for row in found] == [
        {"depth": "1.5", "count": 3.0, "seen": TIME, "day": "2026-03-02", "flag": 1, "note": "x", "raw": "01",
         "small": 5},
        {"depth": "1,5", "count": 2.5, "seen": "2026-03-02 07:30", "day": "2026-02-30", "flag": 7, "note": "\\xe9",
         "raw": "text", "small": 70_000},
    ]  # fmt: skip


def geometries(folder: Any, stored: list[Any]) -> list[tuple[list[float], int, str]]:
    rows = [{"name": f"P{n}", "time": TIME} for n in range(len(stored))]
    stored_package(folder / "a.gpkg", {"name": "TEXT", "time": "DATETIME"}, rows, geometry=stored)
    found = read(folder, block("a.gpkg", MAPPED)).to_pylist()
    return [([row["first"], row["second"], row["third"]], row["held"], row["detail"] or "") for row in found]


@pytest.mark.parametrize(
    ("stored", "held", "says"),
    [
        (point_z(), 0, ""),
        (header(flags=0) + point_z()[8:], 0, ""),  # a big-endian header
        (header(flags=0x0F & 0x03) + struct.pack("<4d", 174, 175, -37, -36) + point_z()[8:], 0, ""),  # an envelope
        (header(0) + point_z()[8:], 0, ""),  # of no stated system: the layer's counts
        (header() + struct.pack("<BI4d", 1, 3001, *PLACE, 5), 0, ""),
        (header() + struct.pack("<BI2d", 1, 1, *PLACE[:2]), 2, "no height"),
        (header() + struct.pack("<BI3d", 1, 2001, *PLACE), 2, "no height"),  # XYM
        (header() + struct.pack("<BI3d", 1, 1001, *[float("nan")] * 3), 2, "no geometry"),
        (header(flags=0x11) + point_z()[8:], 2, "no geometry"),
        (None, 2, "no geometry"),
        (header(4326) + point_z()[8:], 1, "the geometry states srs_id 4326, which is not the layer's"),
        (header() + struct.pack("<BI3d", 1, 1001, float("inf"), *PLACE[1:]), 1, "not finite"),
        (header() + struct.pack("<BII2d", 1, 2, 1, *PLACE[:2]), 1, "not a point"),
        (point_z()[:30], 1, "truncated"),
        (point_z() + b"x", 1, "truncated"),
        (header() + b"\7" + point_z()[9:], 1, "truncated"),
        (header(flags=0x21) + point_z()[8:], 1, "of a type that is not supported"),
        (b"", 1, "not a GeoPackage geometry"),
        (point_z()[8:], 1, "not a GeoPackage geometry"),
        ("POINT Z (174.7 -36.8 12.5)", 1, "not a GeoPackage geometry"),
        (7, 1, "not a GeoPackage geometry"),
    ],
)
def test_geometries_are_read_byte_by_byte(tmp_path, stored, held, says):
    for given in ([stored], [point_z(), stored], [stored, point_z(1, 2, 3)]):
        found = geometries(tmp_path, given)
        place = found[given.index(stored)]
        assert (place[1], says in place[2]) == (held, True), found
        if not held:
            assert place[0] == list(PLACE)


def test_a_view_and_tables_without_a_key_of_their_own(tmp_path):
    """Rows count from 1 where nothing numbers them."""
    rows = [{"name": name, "time": "2026-03-02T20:30:00", "h": 1.5} for name in ("P1", "P2", "P3")]
    columns = {"name": "TEXT", "time": "DATETIME", "h": "DOUBLE"}
    for key in ("", "id TEXT PRIMARY KEY", "fid INTEGER PRIMARY KEY"):
        stored_package(tmp_path / "a.gpkg", columns, rows, key=key)
        found = read(tmp_path, block("a.gpkg", MAPPED | {"height": "h"}, time_zone="Pacific/Auckland")).to_pylist()
        assert [(row["name"], row["time"], row["source_row"]) for row in found] == [
            ("P1", SEVEN_THIRTY, 1), ("P2", SEVEN_THIRTY, 2), ("P3", SEVEN_THIRTY, 3)
        ]  # fmt: skip
    change(tmp_path / "a.gpkg", "ALTER TABLE points RENAME TO kept")
    change(tmp_path / "a.gpkg", "CREATE VIEW points AS SELECT * FROM kept WHERE name <> 'P2'")
    found = read(tmp_path, block("a.gpkg", MAPPED, time_zone="Pacific/Auckland")).to_pylist()
    assert [(row["name"], row["third"], row["source_row"]) for row in found] == [("P1", 12.5, 1), ("P3", 12.5, 2)]


def test_the_same_rows_through_gdal_and_as_stored(tmp_path):
    """One odd value among 300 rows changes the way, and nothing else."""
    rows: list[dict[str, Any]] = [{"name": f"P{n}", "time": TIME, "h": n / 7, "k": n} for n in range(300)]
    columns = {"name": "TEXT", "time": "DATETIME", "h": "DOUBLE", "k": "INTEGER", "more": "TEXT"}
    places = [point_z(174 + n / 1000, -36 - n / 1000, n) for n in range(300)]
    stored_package(tmp_path / "a.gpkg", columns, rows, geometry=places)
    mapped = MAPPED | {"sigma_up": "h", "satellites": "k"}
    plain = read(tmp_path, block("a.gpkg", mapped), 100)
    stored_package(tmp_path / "a.gpkg", columns, [*rows, rows[0] | {"h": "odd"}], geometry=[*places, places[0]])
    odd = read(tmp_path, block("a.gpkg", mapped), 100)
    assert odd.schema == plain.schema
    assert repr(odd.slice(0, 300).to_pylist()) == repr(plain.to_pylist())  # repr, for NaN is not equal to NaN
    assert odd["detail"].to_pylist()[300] == 'sigma_up: "odd" is not a number'
