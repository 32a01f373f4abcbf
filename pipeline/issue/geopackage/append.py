"""Rows appended to a GeoPackage that has its layers: columns go to SQLite as Arrow has them, the index is packed.

The driver lets other threads run while it writes: the rows of a large layer come from one beside it (`handoff`).
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.files.unlocked_database import is_there, quoted, unsynced
from pipeline.issue.geopackage.blank_packages import Blank
from pipeline.issue.geopackage.definitions import redefine
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.spatial_index import Boxes, Packing
from pipeline.issue.geopackage.stored_columns import boxes, stored_columns
from pipeline.issue.geopackage.write_errors import refusal
from pipeline.issue.geopackage.written_counts import Written
from pipeline.tables import bytes_column

_INGEST = {"adbc.ingest.mode": "adbc.ingest.mode.append"}
#: Rows of the index's table of rows that are written at a time.
_PIECE = 1 << 17
_ENTRY = pa.schema([("rowid", pa.int64()), ("nodeno", pa.int64())])
_NODE = pa.schema([("nodeno", pa.int64()), ("data", pa.binary())])
_PARENT = pa.schema([("nodeno", pa.int64()), ("parentnode", pa.int64())])


@dataclass
class Kept:
    """The rows of a layer on their way into the file: how many there were, and what their index is packed from."""

    layer: str
    srs_id: int
    boxes: Boxes

    @classmethod
    def from_blank(cls, layer: str, blank: Blank) -> "Kept":
        """Return it, before any row."""
        return cls(layer, blank.srs_id, Boxes())

    def take(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Return the next rows as the columns of the layer's table."""
        first = self.boxes.rows + 1
        self.boxes.add(boxes(batch.column(GEOMETRY)))
        return stored_columns(batch, first, self.srs_id)


class Appending:
    """A GeoPackage while rows are appended to it."""

    def __init__(self, path: Path, connection: Any) -> None:
        self._path, self._connection = path, connection

    def rows(self, kept: Kept, batches: Iterable[pa.RecordBatch]) -> None:
        """Append the rows of a layer that has none, as `Kept.take` gives them, and their index.

        Raises NotWritten where the disk refuses, TooLarge where a limit of the format does, or whatever comes of
        ``batches``.
        """
        there = iter(batches)
        if (first := next(there, None)) is None:
            return
        self._ingest(kept.layer, first.schema, _chained(first, there))
        packing = Packing(kept.boxes)
        index = f"rtree_{kept.layer}_geom"
        _execute(self._connection, f"DELETE FROM {quoted(index + '_node')}")  # the root of an empty one
        self._ingest(index + "_node", _NODE, _nodes(packing))
        if len(packing.parents):
            numbers = np.arange(2, len(packing.parents) + 2)
            self._ingest(index + "_parent", _PARENT, [_pairs(numbers, packing.parents, _PARENT)])
        self._ingest(index + "_rowid", _ENTRY, _entries(packing))

    def _ingest(self, table: str, schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> None:
        from adbc_driver_manager import AdbcStatement, Error

        given = _Given(batches)
        try:
            with AdbcStatement(self._connection) as statement:
                statement.set_options(**{**_INGEST, "adbc.ingest.target_table": table})
                statement.bind_stream(pa.RecordBatchReader.from_batches(schema, given))
                statement.execute_update()
        except Error as error:
            if given.failure is None:
                raise refusal(self._path, table, error) from error
        if given.failure is not None:
            raise given.failure  # here, where the driver's complaint is neither its cause nor its context


class _Given:
    """Batches on their way through Arrow's C interface, which loses what they raise: that is kept."""

    def __init__(self, batches: Iterable[pa.RecordBatch]) -> None:
        self._batches = iter(batches)
        self.failure: BaseException | None = None

    def __iter__(self) -> Iterator[pa.RecordBatch]:
        return self

    def __next__(self) -> pa.RecordBatch:
        try:
            return next(self._batches)
        except StopIteration:
            raise
        except BaseException as failure:
            self.failure = failure
            raise


@contextmanager
def appending(path: Path) -> Iterator[Appending]:
    """Yield a GeoPackage to append rows to, in one transaction that is over on leaving. Raises as `Appending.rows`."""
    import adbc_driver_sqlite
    from adbc_driver_manager import AdbcConnection, AdbcDatabase, Error

    try:
        with (
            AdbcDatabase(driver=adbc_driver_sqlite._driver_path(), uri=str(path)) as database,
            AdbcConnection(database) as connection,
        ):
            _execute(connection, "PRAGMA synchronous = OFF")
            _execute(connection, "PRAGMA journal_mode = OFF")
            connection.set_autocommit(False)
            yield Appending(path, connection)
            connection.commit()
    except Error as error:
        raise refusal(path, "its rows", error) from error


@contextmanager
def completing(path: Path) -> Iterator[sqlite3.Connection]:
    """Yield a GeoPackage to complete what stands beside the rows, in one transaction. Raises NotWritten."""
    try:
        with unsynced(path) as file:
            file.execute("BEGIN")
            yield file
            file.execute("COMMIT")
    except sqlite3.DatabaseError as error:
        raise refusal(path, "its tables", error) from error


def finish(file: sqlite3.Connection, layers: Sequence[Written], blank: Blank, date: str) -> None:
    """Give layers that have their rows their extents, counts and triggers, and the file its date."""
    for layer in layers:
        _count(file, layer)
    file.execute("UPDATE gpkg_contents SET last_change = ?", (date,))
    if is_there(file, "gpkg_metadata_reference"):
        file.execute("UPDATE gpkg_metadata_reference SET timestamp = ?", (date,))
    redefine(file, blank.tables, (*blank.triggers, *blank.more))


def _count(file: sqlite3.Connection, layer: Written) -> None:
    query = "UPDATE gpkg_ogr_contents SET feature_count = ? WHERE table_name = ?"
    file.execute(query, (layer.rows, layer.name))
    file.execute("DELETE FROM sqlite_sequence WHERE name = ?", (layer.name,))  # of a layer that this one replaces
    if layer.rows:
        file.execute("INSERT INTO sqlite_sequence VALUES (?, ?)", (layer.name, layer.rows))
    if layer.geometries:
        file.execute(
            "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
            (*layer.low[:2], *layer.high[:2], layer.name),
        )


def _execute(connection: Any, query: str) -> None:
    from adbc_driver_manager import AdbcStatement

    with AdbcStatement(connection) as statement:
        statement.set_sql_query(query)
        stream, _ = statement.execute_query()
        pa.RecordBatchReader._import_from_c(stream.address).close()


def _chained(first: pa.RecordBatch, rest: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    yield first
    del first
    yield from rest


def _nodes(packing: Packing) -> Iterator[pa.RecordBatch]:
    for numbers, blobs in packing.nodes():
        yield pa.RecordBatch.from_arrays([pa.array(numbers), bytes_column(blobs)], schema=_NODE)


def _entries(packing: Packing) -> Iterator[pa.RecordBatch]:
    for start in range(0, len(packing.leaves), _PIECE):
        leaves = packing.leaves[start : start + _PIECE]
        there = np.flatnonzero(leaves)
        yield _pairs(there + (start + 1), leaves[there], _ENTRY)


def _pairs(ids: Any, nodes: Any, schema: pa.Schema) -> pa.RecordBatch:
    return pa.RecordBatch.from_arrays([pa.array(ids.astype(np.int64)), pa.array(nodes.astype(np.int64))], schema=schema)
