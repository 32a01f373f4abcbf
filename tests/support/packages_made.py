"""GeoPackages written by SQLite alone: any declared type, any stored value, and geometries byte by byte."""

import contextlib
import sqlite3
import struct
from pathlib import Path
from typing import Any

_TABLES = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT, srs_id INTEGER PRIMARY KEY, organization TEXT,
    organization_coordsys_id INTEGER, definition TEXT, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT PRIMARY KEY, data_type TEXT, identifier TEXT, description TEXT,
    last_change DATETIME, min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER);
CREATE TABLE gpkg_geometry_columns (table_name TEXT, column_name TEXT, geometry_type_name TEXT, srs_id INTEGER,
    z INTEGER, m INTEGER);
INSERT INTO gpkg_spatial_ref_sys VALUES ('undefined', -1, 'NONE', -1, 'undefined', ''), ('undefined', 0, 'NONE', 0,
    'undefined', ''), ('NZGD2000', 4959, 'EPSG', 4959, 'GEOGCRS[...]', ''), ('WGS 84', 4326, 'EPSG', 4326, 'x', '');
"""

#: Longitude, latitude, ellipsoidal height of every point that is not said otherwise.
PLACE = (174.7, -36.8, 12.5)


def header(srs_id: int = 4959, flags: int = 1) -> bytes:
    """The head of a geometry: magic, version, flags (1: little-endian, no envelope), srs_id (OGC 12-128r19, 2.1.3)."""
    return struct.pack("<2sBBi" if flags & 1 else ">2sBBi", b"GP", 0, flags, srs_id)


def point_z(*place: float) -> bytes:
    """A geometry of the layer with X, Y and Z."""
    return header() + struct.pack("<BI3d", 1, 1001, *(place or PLACE))


def stored_package(
    path: Path,
    columns: dict[str, str],
    rows: list[dict[str, Any]],
    *,
    geometry: "list[Any] | None" = None,
    key: str = "fid INTEGER PRIMARY KEY",
    srs_id: int = 4959,
) -> None:
    """Write the layer ``points`` with columns of the declared types; ``geometry`` are the stored values of ``geom``.

    A value that is a pair ("TEXT", bytes) is stored as text of these bytes, be they UTF-8 or not.
    """
    path.unlink(missing_ok=True)
    geometry = [point_z()] * len(rows) if geometry is None else geometry
    parts = [*([key] if key else []), "geom BLOB", *(f'"{name}" {kind}' for name, kind in columns.items())]
    with contextlib.closing(sqlite3.connect(path)) as file:
        file.execute("PRAGMA application_id = 0x47504B47")
        file.execute("PRAGMA user_version = 10300")
        file.executescript(_TABLES)
        file.execute(f"CREATE TABLE points ({', '.join(parts)})")
        file.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, srs_id) VALUES ('points', 'features', ?)", (srs_id,)
        )
        file.execute("INSERT INTO gpkg_geometry_columns VALUES ('points', 'geom', 'POINT', ?, 1, 0)", (srs_id,))
        for shape, row in zip(geometry, rows, strict=True):
            names = ", ".join(f'"{name}"' for name in row)
            marks = ", ".join("CAST(? AS TEXT)" if isinstance(value, tuple) else "?" for value in row.values())
            values = [value[1] if isinstance(value, tuple) else value for value in row.values()]
            file.execute(f"INSERT INTO points (geom, {names}) VALUES (?, {marks})", (shape, *values))
        file.commit()


def change(path: Path, sql: str, *values: Any) -> None:
    """Change a GeoPackage by SQL, its spatial index apart."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as file:
        for (trigger,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{trigger}"')
        file.execute(sql, values)
