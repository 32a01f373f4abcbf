"""Rows appended to a GeoPackage that has its layers: columns go to SQLite as Arrow has them, the index is packed."""

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.files.at_rest import quoted
from pipeline.issue.geopackage.blank import Blank
from pipeline.issue.geopackage.cells import boxes, kept_columns
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.refused import refusal
from pipeline.issue.geopackage.spatial_index import packed

_INGEST = {"adbc.ingest.mode": "adbc.ingest.mode.append"}

#: The rows of a layer, in one piece, by its name.
Rows = Mapping[str, pa.RecordBatch]


def append(path: Path, blank: Blank, layers: Rows, date: str) -> None:
    """Give a blank GeoPackage its rows, their spatial index, extents and counts, its date, and its triggers.

    Raises NotWritten where the disk refuses, TooLarge where a limit of the format does.
    """
    with _appending(path) as connection:
        for name, rows in layers.items():
            if rows.num_rows:
                _ingest(connection, path, name, kept_columns(rows, 1, blank.srs_id))
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as file:
            _unsafe(file)
            file.execute("BEGIN")
            for name, rows in layers.items():
                _index(file, name, rows.column(GEOMETRY))
                file.execute("UPDATE gpkg_ogr_contents SET feature_count = ? WHERE table_name = ?", (len(rows), name))
            _finish(file, blank.triggers, date)
            file.execute("COMMIT")
    except sqlite3.DatabaseError as error:
        raise refusal(path, "its tables", error) from error


@contextmanager
def _appending(path: Path) -> Iterator[Any]:
    """Yield a connection of the Arrow database driver, in one transaction that is over on leaving."""
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
            yield connection
            connection.commit()
    except Error as error:
        raise refusal(path, "its rows", error) from error


def _execute(connection: Any, query: str) -> None:
    from adbc_driver_manager import AdbcStatement

    with AdbcStatement(connection) as statement:
        statement.set_sql_query(query)
        stream, _ = statement.execute_query()
        pa.RecordBatchReader._import_from_c(stream.address).close()


def _ingest(connection: Any, path: Path, layer: str, rows: pa.RecordBatch) -> None:
    from adbc_driver_manager import AdbcStatement, Error

    try:
        with AdbcStatement(connection) as statement:
            statement.set_options(**{**_INGEST, "adbc.ingest.target_table": layer})
            statement.bind_stream(pa.RecordBatchReader.from_batches(rows.schema, [rows]))
            statement.execute_update()
    except Error as error:
        raise refusal(path, layer, error) from error


def _unsafe(file: sqlite3.Connection) -> None:
    """Take away what protects a database that counts: this one does only once it was synced and read back."""
    file.execute("PRAGMA journal_mode = OFF").fetchall()
    file.execute("PRAGMA synchronous = OFF")


def _index(file: sqlite3.Connection, layer: str, shapes: pa.Array) -> None:
    """Write the spatial index of a layer, and its extent."""
    there = np.flatnonzero(shapes.is_valid().to_numpy(zero_copy_only=False))
    if not len(there):
        return
    around = boxes(shapes.drop_null())
    tree = packed(there + 1, around)
    table = f"rtree_{layer}_geom"
    nodes = enumerate((node.tobytes() for node in tree.nodes), 1)
    file.executemany(f"INSERT OR REPLACE INTO {quoted(table + '_node')} VALUES (?, ?)", nodes)
    parents = enumerate(tree.parents.tolist(), 2)
    file.executemany(f"INSERT INTO {quoted(table + '_parent')} VALUES (?, ?)", parents)
    leaves = zip((there + 1).tolist(), tree.leaves.tolist(), strict=True)
    file.executemany(f"INSERT INTO {quoted(table + '_rowid')} VALUES (?, ?)", leaves)
    least, most = around.min(axis=0), around.max(axis=0)
    file.execute(
        "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
        (*map(float, (least[0], least[2], most[1], most[3])), layer),
    )


def _finish(file: sqlite3.Connection, triggers: Sequence[str], date: str) -> None:
    file.execute("UPDATE gpkg_contents SET last_change = ?", (date,))
    if file.execute("SELECT 1 FROM sqlite_master WHERE name = 'gpkg_metadata_reference'").fetchone():
        file.execute("UPDATE gpkg_metadata_reference SET timestamp = ?", (date,))
    for trigger in triggers:
        file.execute(trigger)
