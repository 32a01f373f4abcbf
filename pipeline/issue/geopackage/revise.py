"""Some rows of a layer changed in a copy of a GeoPackage: what two issues have in common is not written again."""

import shutil
import sqlite3
import struct
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pyarrow as pa

from pipeline.arrays import Integers
from pipeline.digest import digest
from pipeline.files.unlocked_database import quoted, unlocked, unsynced
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.readback import ReadBackError
from pipeline.issue.geopackage.write_errors import refusal
from pipeline.issue.geopackage.written_counts import Written

#: Little-endian, no envelope (OGC 12-128r19, clause 2.1.3); eight bytes with the srs_id, then the WKB.
_HEADER = struct.Struct("<2sBBi")
_PLACE = struct.Struct("<3d")
#: Bytes of byte order and geometry type before the coordinates of a WKB point.
_BEFORE_PLACE = _HEADER.size + 5

#: Feature ids with the values of their rows.
_Given = list[tuple[int, tuple[Any, ...]]]


def copy_with_rows(
    earlier: Path, sha256: str, package: Path, layer: Written, fids: Integers, rows: Sequence[pa.RecordBatch]
) -> None:
    """Copy the GeoPackage of an issue, change some rows of one of its layers of points, and read them back.

    Args:
        earlier: the GeoPackage to copy.
        sha256: its sum as it was issued, which the copy must have.
        package: the copy.
        layer: what the layer must contain afterwards.
        fids: (k,) feature ids of the rows to change.
        rows: the k rows as they must be; geometry and every column that a row may differ in.

    Raises FileExistsError where there is a copy already, `Lost` where the earlier file is gone or was altered just now,
    NotWritten where the disk refuses, and ReadBackError where a row is not what was given.
    """
    if package.exists():
        raise FileExistsError(f"{package} exists; an issue's files are written once")
    try:
        shutil.copyfile(earlier, package)
    except FileNotFoundError as error:
        raise Lost(f"{earlier.name} is gone") from error
    if digest(package) != sha256:
        raise Lost(f"{earlier.name} was altered while it was copied")
    columns = [quoted("geom" if name == GEOMETRY else name) for name in (rows[0].schema.names if rows else ())]
    try:
        with unsynced(package) as file:
            given = list(zip(fids.tolist(), _values(file, layer.name, rows), strict=True))
            _functions(file)
            file.execute("BEGIN")
            _change(file, layer, columns, given)
            file.execute("COMMIT")
        with closing(unlocked(package)) as file:
            differing = _differing(file, layer.name, columns, given)
    except sqlite3.DatabaseError as error:
        raise refusal(package, layer.name, error) from error
    if differing:
        raise ReadBackError(package, [f"layer {layer.name}: row {fid} is not the one given" for fid in differing[:3]])


def _values(file: sqlite3.Connection, layer: str, rows: Sequence[pa.RecordBatch]) -> Iterator[tuple[Any, ...]]:
    """Yield the values of each row as SQLite keeps them."""
    query = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?"
    ((srs_id,),) = file.execute(query, (layer,)).fetchall()
    header = _HEADER.pack(b"GP", 0, 1, srs_id)
    for batch in rows:
        columns = [
            [None if wkb is None else header + wkb for wkb in batch.column(name).to_pylist()]
            if name == GEOMETRY
            else batch.column(name).to_pylist()
            for name in batch.schema.names
        ]
        yield from zip(*columns, strict=True)


def _functions(file: sqlite3.Connection) -> None:
    """Provide what the triggers call that keep the spatial index (OGC 12-128r19, annex F.3)."""

    def coordinate(axis: int) -> Any:
        return lambda blob: _PLACE.unpack_from(blob, _BEFORE_PLACE)[axis]

    for name, axis in (("ST_MinX", 0), ("ST_MaxX", 0), ("ST_MinY", 1), ("ST_MaxY", 1)):
        file.create_function(name, 1, coordinate(axis), deterministic=True)
    file.create_function("ST_IsEmpty", 1, lambda blob: None if blob is None else 0, deterministic=True)


def _change(file: sqlite3.Connection, layer: Written, columns: Sequence[str], given: _Given) -> None:
    if given:
        changed = ", ".join(f"{name} = ?" for name in columns)
        values = ((*row, fid) for fid, row in given)
        file.executemany(f"UPDATE {quoted(layer.name)} SET {changed} WHERE fid = ?", values)
    if layer.geometries:
        file.execute(
            "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
            (*layer.low[:2], *layer.high[:2], layer.name),
        )


def _differing(file: sqlite3.Connection, layer: str, columns: Sequence[str], given: _Given) -> list[int]:
    """Return the feature ids of the rows that are not what was given."""
    query = f"SELECT {', '.join(columns)} FROM {quoted(layer)} WHERE fid = ?"
    return [fid for fid, row in given if file.execute(query, (fid,)).fetchone() != row]
