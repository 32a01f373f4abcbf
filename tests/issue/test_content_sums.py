"""A layer's sums: the same for the same values however they are stored, and as a GeoPackage gives them back."""

import datetime as dt
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from altered import touch_header
from hypothesis import given
from hypothesis import strategies as some
from issue_layers import CRS, DATA_TO, source
from issued import everything_below

from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.content_sums import Content, together
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import points_schema, wkb_points
from pipeline.issue.geopackage.recount import NotReadable, recount_package
from pipeline.issue.geopackage.write import write_geopackage

#: One column of every kind that an export can carry, each with a null in it.
KINDS = {
    "half": pa.array([1.5, None, np.nan, -0.25], pa.float32()),
    "number": pa.array([-0.0, None, np.inf, 1e-300]),
    "tiny": pa.array([1, None, -3, 127], pa.int8()),
    "small": pa.array([1, None, 60_000, 0], pa.uint16()),
    "whole": pa.array([1, None, -3, 2**31 - 1], pa.int32()),
    "large": pa.array([2**62, None, -(2**62), 0], pa.int64()),
    "beyond": pa.array([2**32 - 1, None, 3, 0], pa.uint32()),
    "whether": pa.array([True, None, False, True]),
    "text": pa.array(["", None, "Grü\n'\"ß", "0123"]),
    "padded": pa.array(["KERB\0\0", None, "\0\n", "x\ufffe"]),
    "long": pa.array(["", None, "a" * 300, "x"], pa.large_string()),
    "coded": pa.array(["KERB", None, "KERB", ""]).dictionary_encode(),
    "moment": pa.array([1_772_400_000_123, None, 0, 4_102_444_799_999], pa.timestamp("ms", "UTC")),
    "naive": pa.array([1_772_400_000_123, None, 0, 1], pa.timestamp("ms")),
    "coarse": pa.array([1_772_400_000, None, 0, 1], pa.timestamp("s")),
    "day": pa.array([dt.date(2026, 3, 2), None, dt.date(1950, 1, 2), dt.date(1970, 1, 1)]),
    "bytes": pa.array([b"", None, b"\x00\xff", b"a"]),
}
ROWS = 4


def sums(table: pa.Table, size: int | None = None) -> dict[str, str]:
    content = Content({field.name: field.type for field in table.schema})
    for batch in table.to_batches(max_chunksize=size):
        content.add(batch)
    return content.sums()


def test_every_kind_of_column_sums_alike_in_the_batches_and_in_the_file(tmp_path: Path) -> None:
    """What is summed on its way to the writer is what the file gives back, to the last kind of null."""
    schema = points_schema([pa.field(name, column.type) for name, column in KINDS.items()])
    blank = {name: pa.nulls(ROWS, schema.field(name).type) for name in schema.names}
    place = wkb_points(np.array([1.0, 2, np.nan, 4]), np.arange(4.0), np.zeros(4))
    batch = pa.record_batch([({**blank, **KINDS, "geometry": place})[name] for name in schema.names], schema=schema)
    path = tmp_path / "kinds.gpkg"
    (written,) = write_geopackage(path, [LayerSource("points", schema, [batch])], Georeference(CRS), DATA_TO)
    before = everything_below(tmp_path)
    (found,) = recount_package(path)
    assert everything_below(tmp_path) == before
    assert {name for name in found.sums if found.sums[name] != written.sums[name]} == set()
    assert (found.rows, list(found.sums)) == (ROWS, list(written.sums))
    assert found.content == written.as_record()["content"]
    assert len(set(found.sums.values())) > len(KINDS)  # the columns do differ


@pytest.mark.parametrize("rows", [0, 1, 70_000])
def test_a_layer_of_any_length_sums_alike_in_the_file(tmp_path: Path, rows: int) -> None:
    """Beyond one batch of the writer's and of the reader's, and with none at all."""
    path = tmp_path / "points.gpkg"
    written = write_geopackage(path, [source(rows), source(10, "held_back")], Georeference(CRS), DATA_TO)
    touch_header(path)
    assert [(one.name, one.rows, one.sums) for one in recount_package(path)] == [
        (one.name, one.rows, dict(one.sums)) for one in written
    ]


@given(
    some.lists(some.tuples(some.none() | some.text(), some.none() | some.floats(), some.none() | some.booleans())),
    some.integers(1, 5),
    some.integers(0, 3),
)
def test_no_cut_no_offset_and_no_storage_shows(
    rows: list[tuple[str | None, float | None, bool | None]], size: int, skip: int
) -> None:
    """In batches of any size, out of a longer array, as large text or as a dictionary: the same sums."""
    texts, numbers, whether = (list(column) for column in zip(*rows, strict=True)) if rows else ([], [], [])
    plain = pa.table([texts, numbers, whether], pa.schema([("a", pa.string()), ("b", pa.float64()), ("c", pa.bool_())]))
    expected = sums(plain)
    assert sums(plain, size) == expected
    longer = pa.concat_tables([plain.slice(0, skip), plain])
    assert sums(longer.slice(min(skip, len(rows)))) == expected
    large = plain.set_column(0, "a", plain.column("a").cast(pa.large_string()))
    coded = plain.set_column(0, "a", plain.column("a").dictionary_encode())
    assert sums(large) == sums(coded, size) == expected


@given(some.lists(some.none() | some.text(max_size=3), min_size=1, max_size=6), some.data())
def test_any_change_of_a_text_shows(texts: list[str | None], data: some.DataObject) -> None:
    """Null against empty, a character moved to the next row: every two different columns have different sums."""
    other = data.draw(some.lists(some.none() | some.text(max_size=3), min_size=1, max_size=6))
    one, two = (sums(pa.table({"a": pa.array(column, pa.string())})) for column in (texts, other))
    kept = [[text and text.partition("\0")[0] for text in column] for column in (texts, other)]
    assert (one == two) == (kept[0] == kept[1])


def test_a_number_that_differs_in_its_last_bit_shows() -> None:
    values = np.array([1_507_276.905, 5_160_441.038])
    moved = values.copy()
    moved[1] = np.nextafter(moved[1], np.inf)
    assert sums(pa.table({"a": values})) != sums(pa.table({"a": moved}))
    assert sums(pa.table({"a": [1.0, None]})) == sums(pa.table({"a": [1.0, np.nan]}))
    assert sums(pa.table({"a": [0.0]})) == sums(pa.table({"a": [-0.0]}))
    assert sums(pa.table({"a": [0.0, None]})) != sums(pa.table({"a": [None, 0.0]}))


def test_all_columns_together_depend_on_their_names_and_order() -> None:
    every = ({"a": "1", "b": "2"}, {"b": "2", "a": "1"}, {"a": "1"}, {"a": "12"})
    assert len({together(known) for known in every}) == 4


@pytest.mark.parametrize("kind", [pa.time32("ms"), pa.timestamp("us", "UTC"), pa.list_(pa.string())])
def test_a_kind_that_a_geopackage_gives_back_otherwise_is_refused_by_name(kind: pa.DataType) -> None:
    with pytest.raises(TypeError, match="column clock is of type"):
        Content({"clock": kind})


def test_a_damaged_file_is_not_summed(tmp_path: Path) -> None:
    path = tmp_path / "points.gpkg"
    write_geopackage(path, [source(5_000)], Georeference(CRS), DATA_TO)
    with path.open("r+b") as file:
        file.seek(path.stat().st_size // 2)
        file.write(b"\xff" * 8192)
    with pytest.raises(NotReadable):
        recount_package(path)
