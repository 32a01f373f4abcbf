"""Rows appended at once, appended while they come, and written by GDAL: the same database to whoever opens it."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from every import every
from issue_layers import CRS, DATA_TO

from pipeline.files.gdal import gdal_options
from pipeline.issue.geopackage import write
from pipeline.issue.geopackage.append import completing
from pipeline.issue.geopackage.blank_packages import Georeference, make_layer
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import CHANGES, HELD_BACK, LINE_Z, points_schema, wkb_lines, wkb_points
from pipeline.issue.geopackage.readback import read_back
from pipeline.issue.geopackage.stored_columns import stored_column
from pipeline.issue.geopackage.styles_and_metadata import write_beside
from pipeline.issue.geopackage.write import write_geopackage

TIMES = [1772393028000, 1772393028500, 1772393028007, -86_400_000, -62135596800000, 253402300799999, None]
OWN: dict[str, pa.Array] = {
    "moment": pa.array(TIMES, pa.timestamp("ms", "UTC")),
    "local": pa.array(TIMES, pa.timestamp("ms")),
    "seconds": pa.array([None if time is None else time // 1000 for time in TIMES], pa.timestamp("s")),
    "day": pa.array([0, 1, -1, 20000, 2932896, -719162, None], pa.date32()),
    "whether": pa.array([True, False, None, True, True, True, True]),
    "double": pa.array([0.1, -0.0, float("inf"), float("nan"), None, -float("inf"), 1e300]),
    "largest": pa.array([2**64 - 1, 2**63, 1, 0, None, 5, 6], pa.uint64()),
    "least": pa.array([1, -1, None, 0, 127, -128, 0], pa.int8()),
    "whole": pa.array([2**63 - 1, -(2**63), None, 0, 0, 0, 0]),
    "bytes": pa.array([b"a\0b", b"", None, b"x", b"x", b"x", b"x"], pa.binary()),
    "text": pa.array(["ü", "", None, "a\0b", "\0", " x ", "1.5"]),
    "large": pa.array(["ü", "", None, "a\0b", "\0", " x ", "01"], pa.large_string()),
    "coded": pa.array(["a", "b", None, "a", "b", "a", ""]).dictionary_encode(),
    "exact": pa.array([Decimal("1.50")] * 7, pa.decimal128(10, 2)),
}


def rows_of(schema: pa.Schema, count: int, **given: pa.Array) -> pa.RecordBatch:
    columns = [given.get(field.name, pa.nulls(count, field.type)) for field in schema]
    return pa.RecordBatch.from_arrays(columns, schema=schema)


def layers() -> Iterator[LayerSource]:
    schema = points_schema([pa.field(name, column.type) for name, column in OWN.items()])
    east = np.array([1500000.1, 2, np.nan, 4, 5, 6, -7.0])
    own = {name: column.cast(schema.field(name).type) for name, column in OWN.items()}
    yield LayerSource("points", schema, [rows_of(schema, 7, **own, geometry=wkb_points(east, east + 1, east))])
    yield LayerSource("held_back", HELD_BACK, [], "nothing")
    ends = np.array([[1, 2, 3.0], [np.nan] * 3, [4, 5, 6]])
    changed = rows_of(CHANGES, 3, geometry=wkb_lines(ends, ends[::-1] - 20))
    yield LayerSource("changes", CHANGES, [changed], geometry_type=LINE_Z)


def content(path: Path) -> dict[str, Any]:
    """All tables but the index's nodes, the definitions, and the index as it is read."""
    with closing(sqlite3.connect(path)) as file:
        objects = file.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY 1, 2").fetchall()
        found: dict[str, Any] = {"objects": objects}
        for kind, name, _, _ in objects:
            if kind == "table" and not name.endswith(("_node", "_parent", "_rowid")):
                found[name] = sorted(file.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr)
        for index in [name for _, name, _, sql in objects if "VIRTUAL" in (sql or "")]:
            assert file.execute("SELECT rtreecheck(?)", (index,)).fetchone() == ("ok",)
            # rounded outwards to 32 bits, by SQLite a unit more than need be
            found[index] = [(id, np.round(np.array(box, np.float32).astype(float), -1)) for id, *box in found[index]]
        assert not file.execute("PRAGMA foreign_key_check").fetchall()
        found["header"] = [file.execute(f"PRAGMA {name}").fetchone() for name in ("application_id", "user_version")]
    return found


def by_the_library(path: Path, within: Georeference) -> None:
    """The layers with their rows, written by GDAL."""
    date = {"OGR_CURRENT_DATE": DATA_TO.strftime("%Y-%m-%dT%H:%M:%S.000Z")}
    with gdal_options(date):
        for number, layer in enumerate(layers()):
            new = dict(first=number == 0, append=number > 0)
            make_layer(path, layer, within, layer.batches, **new)
    with completing(path) as file:
        write_beside(file, path.stem, date["OGR_CURRENT_DATE"], ())


def test_all_ways_give_the_same_database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Held to the library's writer in every table, value, type, trigger and entry of the index, and read back."""
    within = Georeference(CRS, metadata={"height_datum": "NZVD2016 height"})
    appended, again, streamed, other = (tmp_path / f"{name}.gpkg" for name in ("one", "again", "streamed", "other"))
    written = write_geopackage(appended, layers(), within, DATA_TO)
    assert written and str(write_geopackage(again, layers(), within, DATA_TO)) == str(written)
    monkeypatch.setattr(write, "GATHERED", 3)
    assert str(write_geopackage(streamed, layers(), within, DATA_TO)) == str(written)
    by_the_library(other, within)
    for path in (appended, streamed):
        read_back(path, written)
    assert appended.read_bytes() == again.read_bytes()  # by a copy of what GDAL had made, and by the copy of it
    expected = content(other)
    for found in (content(appended), content(streamed)):
        assert found.keys() == expected.keys()
        for part in every(found):
            assert repr(found[part]) == repr(expected[part]), part  # whole numbers and doubles told apart


def test_a_time_before_1970_keeps_its_thousandths() -> None:
    """ISO 8601; the library's writer rounds it up."""
    (found,) = stored_column(pa.array([-1], pa.timestamp("ms", "UTC"))).to_pylist()
    assert found == "1969-12-31T23:59:59.999Z"
