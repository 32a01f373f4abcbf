"""Rows appended to a GeoPackage that has its layers: columns go to SQLite as Arrow has them, the index is packed.

The driver lets other threads run while it writes: the rows of a large layer come from one beside it (`handoff`).
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.files.unlocked_database import is_there, quoted, unlocked, unsynced
from pipeline.issue.geopackage.blank_packages import Blank
from pipeline.issue.geopackage.definitions import redefine
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.spatial_index import Boxes, Packing
from pipeline.issue.geopackage.stored_columns import boxes, stored_columns
from pipeline.issue.geopackage.table_cells import can_be_cells
from pipeline.issue.geopackage.table_pages import TablePages, table_pages
from pipeline.issue.geopackage.write_errors import refusal
from pipeline.issue.geopackage.written_counts import Written
from pipeline.tables import bytes_column

_INGEST = {"adbc.ingest.mode": "adbc.ingest.mode.append"}
#: Rows of the index's table of rows that are written at a time.
_PIECE = 1 << 17
_ENTRY = pa.schema([("rowid", pa.int64()), ("nodeno", pa.int64())])
_NODE = pa.schema([("nodeno", pa.int64()), ("data", pa.binary())])
_PARENT = pa.schema([("nodeno", pa.int64()), ("parentnode", pa.int64())])


class Kept(Struct):
    """The rows of a layer on their way into the file: how many there were, and what their index is packed from."""

    layer: str
    srs_id: int
    boxes: Boxes

    @classmethod
    def from_blank(cls, layer: str, blank: Blank) -> "Kept":
        """Return it, before any row."""
        return cls(layer, blank.srs_id, Boxes())

    @property
    def index(self) -> str:
        """The name of the layer's spatial index, with which those of its tables begin."""
        return f"rtree_{self.layer}_geom"

    def take(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Return the next rows as the columns of the layer's table."""
        first = self.boxes.rows + 1
        self.boxes.add(boxes(batch.column(GEOMETRY)))
        return stored_columns(batch, first, self.srs_id)


class Appending:
    """A GeoPackage while rows are appended to it, in transactions that are over when it is closed."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._opened = ExitStack()
        self._connection: Any = None

    def rows(self, kept: Kept, batches: Iterable[pa.RecordBatch]) -> None:
        """Append the rows of a layer that has none, as `Kept.take` gives them, and their index.

        Raises NotWritten where the disk refuses, TooLarge where a limit of the format does, or whatever comes of
        ``batches``.
        """
        there = iter(batches)
        if (first := next(there, None)) is None:
            return
        self._ingest(kept.layer, first.schema, _chained(first, there))
        packing = self._index(kept)
        self._ingest(kept.index + "_rowid", _ENTRY, _entries(packing))

    def many_rows(self, kept: Kept, batches: Iterable[pa.RecordBatch]) -> None:
        """Append rows as `rows` does, as whole pages: half the work where there are many."""
        self._lay(kept.layer, batches)
        packing = self._index(kept)
        self._lay(kept.index + "_rowid", _entries(packing))

    def _index(self, kept: Kept) -> Packing:
        """Append the nodes of a layer's index."""
        packing = Packing(kept.boxes)
        _execute(self._connected(), f"DELETE FROM {quoted(kept.index + '_node')}")  # the root of an empty one
        self._ingest(kept.index + "_node", _NODE, _nodes(packing))
        if len(packing.parents):
            numbers = np.arange(2, len(packing.parents) + 2)
            self._ingest(kept.index + "_parent", _PARENT, [_pairs(numbers, packing.parents, _PARENT)])
        return packing

    def _lay(self, table: str, batches: Iterable[pa.RecordBatch]) -> None:
        """Write the rows of a table that has none as pages, and by SQLite from where one does not fit into a page."""
        self.finish()
        there = iter(batches)
        try:
            with table_pages(self._path, _root(self._path, table)) as pages:
                rest = next((left for batch in there if (left := _left_of(batch, pages)).num_rows), None)
        except OSError as error:
            raise refusal(self._path, table, error) from error
        if rest is not None:
            self._ingest(table, rest.schema, _chained(rest, there))

    def _connected(self) -> Any:
        """Return the driver's connection, in a transaction."""
        if self._connection is None:
            import adbc_driver_sqlite
            from adbc_driver_manager import AdbcConnection, AdbcDatabase

            driver = adbc_driver_sqlite._driver_path()
            database = self._opened.enter_context(AdbcDatabase(driver=driver, uri=str(self._path)))
            self._connection = self._opened.enter_context(AdbcConnection(database))
            _execute(self._connection, "PRAGMA synchronous = OFF")
            _execute(self._connection, "PRAGMA journal_mode = OFF")
            self._connection.set_autocommit(False)
        return self._connection

    def finish(self) -> None:
        """End the transaction, so that all rows are in the file."""
        if self._connection is not None:
            self._connection.commit()
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self._connection = None
        self._opened.close()

    def _ingest(self, table: str, schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> None:
        from adbc_driver_manager import AdbcStatement, Error

        given = _Given(batches)
        try:
            with AdbcStatement(self._connected()) as statement:
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
    """Yield a GeoPackage to append rows to, in transactions that are over on leaving. Raises as `Appending.rows`."""
    from adbc_driver_manager import Error

    opened = Appending(path)
    try:
        with closing(opened):
            yield opened
            opened.finish()
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


def _root(path: Path, table: str) -> int:
    """Return the number of the page at which a table begins."""
    with closing(unlocked(path)) as file:
        query = "SELECT rootpage FROM sqlite_master WHERE type = 'table' AND name = ?"
        ((root,),) = file.execute(query, (table,)).fetchall()
    return int(root)


def _left_of(batch: pa.RecordBatch, pages: TablePages) -> pa.RecordBatch:
    """Return the rows of a batch that are not written as pages."""
    return batch.slice(pages.take(batch) if can_be_cells(batch.schema) else 0)


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
