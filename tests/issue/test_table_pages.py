"""Rows written as pages of an SQLite table, held to what SQLite says of them and to what it writes itself."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from issue_layers import CRS, DATA_TO

from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import points_schema, wkb_points
from pipeline.issue.geopackage.readback import ReadBackError, read_back
from pipeline.issue.geopackage.table_cells import can_be_cells
from pipeline.issue.geopackage.table_pages import table_pages
from pipeline.issue.geopackage.write import write_geopackage

TABLE = "CREATE TABLE t (id INTEGER PRIMARY KEY NOT NULL, whole INTEGER, number REAL, words TEXT, bytes BLOB)"
PLAIN, LARGE = (
    pa.schema([("id", pa.int64()), ("whole", pa.int64()), ("number", pa.float64()), ("words", text), ("bytes", octets)])
    for text, octets in ((pa.string(), pa.binary()), (pa.large_string(), pa.large_binary()))
)
#: The numbers on both sides of every width that the format has, and of a varint's.
EDGES = [side * ((1 << bits) + more) for bits in (0, 7, 8, 14, 15, 16, 21, 23, 24, 28, 31, 32, 35, 47, 48, 53, 62)
         for more in (-1, 0, 1) for side in (-1, 1)] + [2**63 - 1, -(2**63)]  # fmt: skip
Row = tuple[Any, ...]


def empty(path: Path, page_size: int = 4096) -> int:
    """Make a database with an empty table between two others; return where it begins."""
    with closing(sqlite3.connect(path)) as file:
        file.execute(f"PRAGMA page_size = {page_size}")
        file.executescript(f"CREATE TABLE a (x); INSERT INTO a VALUES (1); {TABLE}; CREATE TABLE z (x)")
        ((root,),) = file.execute("SELECT rootpage FROM sqlite_master WHERE name = 't'")
    return int(root)


def batches(rows: Sequence[Row], size: int) -> Iterator[pa.RecordBatch]:
    """Yield rows in batches, every other one with columns of large types."""
    for number, start in enumerate(range(0, len(rows), size)):
        columns = zip(*rows[start : start + size], strict=True)
        schema = LARGE if number % 2 else PLAIN
        yield pa.RecordBatch.from_arrays(
            [pa.array(column, kind) for column, kind in zip(columns, schema.types, strict=True)], schema=schema
        )


def filled(path: Path, rows: Sequence[Row], size: int, page_size: int = 4096) -> list[int]:
    """Write rows as pages, in batches of ``size``; return how many of each were taken."""
    with table_pages(path, empty(path, page_size)) as pages:
        return [pages.take(batch) for batch in batches(rows, size)]


def said(path: Path) -> tuple[list[Row], list[Row]]:
    """Return the rows of the table with the types that SQLite has them as, and what it finds wrong with the file."""
    query = "SELECT *, typeof(whole), typeof(number), typeof(words), typeof(bytes) FROM t ORDER BY id"
    with closing(sqlite3.connect(path)) as file:
        return file.execute(query).fetchall(), file.execute("PRAGMA integrity_check").fetchall()


def by_sqlite(path: Path, rows: Sequence[Row], page_size: int = 4096) -> list[Row]:
    empty(path, page_size)
    with closing(sqlite3.connect(path)) as file:
        file.executemany("INSERT INTO t VALUES (?, ?, ?, ?, ?)", rows)
        file.commit()
    return said(path)[0]


def row_of(number: int) -> Row:
    return (
        number,
        None if number % 7 == 0 else EDGES[number % len(EDGES)],
        None if number % 5 == 0 else number / 8 if number % 2 else float(EDGES[number % len(EDGES)]),
        None if number % 11 == 0 else "ü" * (number * 13 % 90),
        None if number % 3 == 0 else bytes(number % 71),
    )


_numbers = (
    st.none() | st.floats(allow_nan=False) | st.integers(-(2**60), 2**60).map(float) | st.sampled_from(EDGES).map(float)
)
_rows = st.lists(
    st.tuples(
        st.integers(1, 1 << 40),  # how far behind the row before
        st.none() | st.integers(-(2**63), 2**63 - 1) | st.sampled_from(EDGES),
        _numbers,
        st.none() | st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=90),
        st.none() | st.binary(max_size=150),
    ),
    min_size=1,
    max_size=60,
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(_rows, st.integers(1, 40), st.sampled_from([512, 4096, 65536]))
def test_whatever_the_rows_are_sqlite_reads_what_it_would_have_written(
    tmp_path: Path, rows: list[Row], size: int, page_size: int
) -> None:
    ids, there = 0, list[Row]()
    for step, *rest in rows:
        ids += step
        there.append((ids, *rest))
    ours, theirs = tmp_path / "ours.db", tmp_path / "theirs.db"
    ours.unlink(missing_ok=True)
    theirs.unlink(missing_ok=True)
    filled(ours, there, size, page_size)
    assert said(ours) == (by_sqlite(theirs, there, page_size), [("ok",)])
    assert abs(ours.stat().st_size - theirs.stat().st_size) <= 2 * page_size  # as short as SQLite's own


@pytest.mark.parametrize("page_size", [512, 4096])
def test_a_table_of_several_levels_is_sound_and_found_by_number(tmp_path: Path, page_size: int) -> None:
    rows = [row_of(number) for number in range(1, 30_001)]
    path = tmp_path / "many.db"
    assert sum(filled(path, rows, 7_001, page_size)) == len(rows)
    assert said(path) == (by_sqlite(tmp_path / "theirs.db", rows, page_size), [("ok",)])
    with closing(sqlite3.connect(path)) as file:
        for number in (1, 2, 14_999, 29_999, 30_000):
            assert file.execute("SELECT * FROM t WHERE id = ?", (number,)).fetchall() == [row_of(number)]
        file.execute("INSERT INTO t VALUES (30001, 1, 2, 'behind', NULL)")
        file.execute("UPDATE t SET words = ? WHERE id % 100 = 0", ("longer than before " * 9,))
        file.execute("DELETE FROM t WHERE id BETWEEN 5000 AND 9000")
        file.commit()
        assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_how_rows_are_cut_into_batches_shows_in_no_byte(tmp_path: Path) -> None:
    rows = [row_of(number) for number in range(1, 5_001)]
    found = set[bytes]()
    for size in (7, 999, 5_000):
        filled(path := tmp_path / f"{size}.db", rows, size)
        found.add(path.read_bytes())
    assert len(found) == 1


def test_rows_from_one_on_that_does_not_fit_a_page_are_not_taken(tmp_path: Path) -> None:
    rows = [row_of(number) for number in range(1, 100)]
    rows[60] = (61, 1, 1.0, "x" * 5_000, None)
    path = tmp_path / "long.db"
    assert filled(path, rows, 30) == [30, 30, 0, 9]
    assert said(path)[1] == [("ok",)]


def test_no_rows_leave_an_empty_table(tmp_path: Path) -> None:
    path = tmp_path / "none.db"
    assert filled(path, [], 1) == []
    assert said(path) == ([], [("ok",)])


def test_the_page_that_programs_lock_stays_unused(tmp_path: Path) -> None:
    """sqlite.org/fileformat2.html, clause 1.3.13: the page at byte 1,073,741,824 is never used."""
    path, size = tmp_path / "large.db", 65536
    root = empty(path, size)
    locked = (1 << 30) // size + 1
    with path.open("r+b") as file:
        file.truncate((locked - 3) * size)  # a hole: three pages before it
    rows = [(number, number, number / 3, "x" * 50, bytes(500)) for number in range(1, 2_001)]
    with table_pages(path, root) as pages:
        for batch in batches(rows, 300):
            assert pages.take(batch) == batch.num_rows
    assert path.stat().st_size > (locked + 5) * size
    with closing(sqlite3.connect(path)) as file:  # which takes a tree that leads to that page for a damaged one
        assert file.execute("SELECT * FROM t ORDER BY id").fetchall() == rows
        ((count,),) = file.execute("PRAGMA page_count").fetchall()
        assert count * size == path.stat().st_size


def test_other_types_are_left_to_sqlite() -> None:
    assert can_be_cells(PLAIN) and can_be_cells(LARGE)
    for kind in (pa.int32(), pa.bool_(), pa.timestamp("ms")):
        assert not can_be_cells(pa.schema([("id", pa.int64()), ("x", kind)]))
    assert not can_be_cells(pa.schema([("id", pa.string())]))


def many(texts: Sequence[str], count: int = 20_000) -> LayerSource:
    schema = points_schema([])
    east = pa.array(range(count)).to_numpy() + 0.25
    given = {
        "name": pa.array([f"P{number}" for number in range(count)]),
        "code": pa.array([texts[number % len(texts)] for number in range(count)]),
        "easting": pa.array(east),
        "geometry": wkb_points(east, east + 1, east + 2),
    }
    columns = [given.get(field.name, pa.nulls(count, field.type)) for field in schema]
    whole = pa.RecordBatch.from_arrays(columns, schema=schema)
    return LayerSource("points", schema, [whole.slice(start, 6_000) for start in range(0, count, 6_000)])


def test_a_long_text_amid_many_rows_is_written_like_any_other(tmp_path: Path) -> None:
    texts = ["road"] * 9_999 + ["long " * 3_000]
    path = tmp_path / "points.gpkg"
    written = write_geopackage(path, [many(texts)], Georeference(CRS), DATA_TO)
    read_back(path, written)
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        found = file.execute("SELECT fid, code FROM points WHERE length(code) > 4").fetchall()
    assert found == [(10_000, texts[-1]), (20_000, texts[-1])]


def test_a_value_that_was_written_wrongly_is_found_on_reading_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of layers too large to compare whole, some rows of each batch are: what is wrong in a column shows."""
    path = tmp_path / "points.gpkg"
    written = write_geopackage(path, [many(["road"])], Georeference(CRS), DATA_TO)
    read_back(path, written)
    with closing(sqlite3.connect(path)) as file:
        for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{name}"')
        file.execute("UPDATE points SET easting = easting + 1")
        file.commit()
    with pytest.raises(ReadBackError, match="its easting are not those given"):
        read_back(path, written)
