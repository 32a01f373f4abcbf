"""A finished GeoPackage with what people type in its names and codes, for the tests of the formats made from it."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.issue.file_facts import FileFacts
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.issue.geopackage.layers import CHECK_MARKS, MARKS, points_schema, wkb_points
from pipeline.issue.geopackage.write import write_geopackage

DATA_TO = datetime(2026, 3, 2, 3, 45, 6, 500_000, tzinfo=UTC)
ABOUT = FileFacts(
    job="made",
    issue=7,
    data_to=DATA_TO,
    grid="EPSG:2193",
    grid_name="NZGD2000 / New Zealand Transverse Mercator 2000",
    height_name="NZVD2016 height",
    datum="EPSG:4167",
    datum_name="NZGD2000",
    definition="",
    caution="Take care; {braces}, a \\ and a ^ too.",
    judged=(("verdict", "failed"), ("since issue 006", "3 moved (up to 0.012 m), 1 withdrawn")),
)

#: Names and codes that have broken somebody's file: each alone, so that a test that fails says which.
HOSTILE = (
    "plain", "Zäun", "漢字 🙂", 'say "no"', "a,b;c", "two\nlines", "back\r\nagain", "lone\rreturn", "tab\there",
    "=cmd|' /C calc'!A0", "+1+cmd|'x'!A0", "-2+3", "-FE", "@SUM(1)", "'=quoted", "'plain", "", " ", " outer ", "0",
    "Defpoints", "marks", "note", "fence", "Fence", "FENCE", "fence_2", "a/b", "a\\b", "a^b", "^", "^J", "%%d", "%%%%p",
    "100%", "\\U+0041", "{\\fArial;x}", "\\P", "<tag a='b'>&amp;", "]]>", "x" * 300, "null", "NaN", "1e5", "00123",
    "*Model_Space", "a|b", "ENDSEC", "  0", "EOF", "\u2028", "\x01\x1b", "\ufeffbom", "e\u0301", "_suspect",
    "2026-03-02", "true",
)  # fmt: skip

CARRIED = (
    pa.field("id", pa.string()),
    pa.field('Remark, "ours"', pa.string()),
    pa.field("=Depth", pa.float64()),
    pa.field("count", pa.int64()),
    pa.field("wet", pa.bool_()),
    pa.field("day", pa.date32()),
    pa.field("start", pa.timestamp("ms", "UTC")),
    pa.field("nothing", pa.string()),
)


def points(names: Sequence[str | None], codes: Sequence[str | None], proofs: Sequence[str | None]) -> pa.RecordBatch:
    """Rows of ``points`` along a line, with figures that end in a digit too many."""
    rows = np.arange(len(names))
    east, north, height = 1_600_000.00004 + rows * 7.13517, 5_400_000.12345 + rows * 3.3333333, np.sin(rows) * 1e-4
    schema = points_schema(CARRIED)
    text = pa.array([f"{row:05d}" for row in rows], pa.string())
    columns: dict[str, Any] = {
        "name": pa.array(names, pa.string()),
        "code": pa.array(codes, pa.string()),
        "proof": pa.array(proofs, pa.string()),
        "easting": east,
        "northing": north,
        "height": height,
        "ellipsoid_height": height + 14.0,
        "longitude": 173.0 + rows * 1.23456789012e-5,
        "latitude": -41.5 + rows * 1e-9 / 7,
        "observed": pa.array(1_772_400_000_123 + rows * 1000, pa.int64()).cast(pa.timestamp("ms", "UTC")),
        "hu95": np.full(len(rows), 0.020049),
        "vu95": np.full(len(rows), 0.03),
        "source_row": rows + 2,
        'Remark, "ours"': pa.array([f"remark\n{name}" for name in names], pa.string()),
        "=Depth": pa.array([None if row % 3 == 0 else row / 7 for row in rows.tolist()], pa.float64()),
        "count": pa.array([None if row % 5 == 0 else 2**53 + row for row in rows.tolist()], pa.int64()),
        "wet": pa.array([None if row % 4 == 0 else row % 2 == 0 for row in rows.tolist()], pa.bool_()),
        "day": pa.array([None if row % 4 == 1 else 20_000 + row for row in rows.tolist()], pa.int32()).cast("date32"),
        "start": pa.array([None if row % 4 == 2 else row * 1001 for row in rows.tolist()], pa.int64()).cast(
            pa.timestamp("ms", "UTC")
        ),
        "nothing": pa.nulls(len(rows), pa.string()),
        "geometry": wkb_points(east, north, height),
    }
    arrays = [pa.array(columns[name]) if name in columns else text for name in schema.names]
    return pa.record_batch([array.cast(field.type) for array, field in zip(arrays, schema, strict=True)], schema=schema)


def hostile() -> pa.RecordBatch:
    """Every hostile text as a name, and as a code turned by one; the proof words in turn."""
    words = ("bracketed", "suspect", "unclosed", "unchecked", "bracketed", None)
    names = [*HOSTILE, None]
    codes = [None, *HOSTILE]
    return points(names, codes, [words[row % len(words)] for row in range(len(names))])


def checks() -> pa.RecordBatch:
    """Three occupations on two marks, one failed and one not tested, and one whose position is not known."""
    count = 4
    places = {"easting": 1_600_010.5, "northing": 5_400_020.25, "height": 3.125}
    columns: dict[str, Any] = {
        "mark": ["CM1", "CM1", "TM,1", "CM2"],
        "point": ["CM1-AM", "CM1 ^PM", "TM1", "CM2-AM"],
        "role": ["check", "check", "tie", "check"],
        "passed": [True, False, None, None],
        "d_east": [0.001, -0.2, None, None],
        "d_north": [0.001, -0.2, None, None],
        "d_height": [0.001, 0.0, None, None],
        **{name: [value, value + 0.2, value + 100, None] for name, value in places.items()},
    }
    arrays = [pa.array(columns[f.name], f.type) if f.name in columns else pa.nulls(count, f.type) for f in CHECK_MARKS]
    return pa.record_batch(arrays, schema=CHECK_MARKS)


def marks() -> pa.RecordBatch:
    """Three marks: one of them has no height, another no position."""
    columns: dict[str, Any] = {
        "mark": ["CM1", "TM,1", "nowhere"],
        "easting": [1_600_010.5, 1_600_110.5, None],
        "northing": [5_400_020.25, 5_400_120.25, None],
        "height": [3.125, None, 8.0],
        "status": ["held", "adjusted", "held"],
    }
    arrays = [pa.array(columns[f.name], f.type) if f.name in columns else pa.nulls(3, f.type) for f in MARKS]
    return pa.record_batch(arrays, schema=MARKS)


def package(folder: Path, *batches: pa.RecordBatch, plain: bool = False) -> Package:
    """Write a GeoPackage with these points, and the occupations and marks (none of them where ``plain``)."""
    path = folder / f"{ABOUT.title}.gpkg"
    layers = [
        LayerSource("points", points_schema(CARRIED), list(batches)),
        LayerSource("check_marks", CHECK_MARKS, [] if plain else [checks()]),
        LayerSource("marks", MARKS, [] if plain else [marks()]),
    ]
    written = write_geopackage(path, layers, Georeference("EPSG:2193"), DATA_TO)
    return Package(path, {layer.name: layer.rows for layer in written})
