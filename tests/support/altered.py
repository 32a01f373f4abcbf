"""What people and viewers do to a GeoPackage that was issued, by SQLite alone."""

import sqlite3
import struct
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

_FUNCTIONS = ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY")


def change(package: Path, sql: str, values: tuple[Any, ...] = ()) -> None:
    """Run a statement on a GeoPackage, past the triggers of its spatial index."""
    with closing(_open(package)) as file, file:
        assert file.execute(sql, values).rowcount == 1


def move_geometry(package: Path, layer: str, name: str, metres: float) -> None:
    """Move a point's geometry east, and leave its columns as they are."""
    with closing(_open(package)) as file, file:
        (blob,) = file.execute(f"SELECT geom FROM {layer} WHERE name = ?", [name]).fetchone()
        (east,) = struct.unpack_from("<d", blob, len(blob) - 24)  # X, Y, Z stand at the end of a PointZ
        moved = blob[:-24] + struct.pack("<d", east + metres) + blob[-16:]
        file.execute(f"UPDATE {layer} SET geom = ? WHERE name = ?", [moved, name])


def touch_header(package: Path) -> None:
    """Switch the file to a write-ahead log, as viewers do, and close it: two bytes of its header differ then."""
    with closing(sqlite3.connect(package)) as file:
        assert file.execute("PRAGMA journal_mode = WAL").fetchone() == ("wal",)
        file.execute("SELECT count(*) FROM points").fetchone()


@contextmanager
def held_open(package: Path, sql: str | None = None) -> Iterator[sqlite3.Connection]:
    """Hold a GeoPackage open in a write-ahead log, with a change in it that the file itself does not have yet."""
    with closing(_open(package)) as file:
        file.execute("PRAGMA journal_mode = WAL")
        file.execute("PRAGMA wal_autocheckpoint = 0")
        if sql is not None:
            assert file.execute(sql).rowcount == 1
            file.commit()
        file.execute("BEGIN")
        file.execute("SELECT count(*) FROM points").fetchone()
        yield file
        file.rollback()


def _open(package: Path) -> sqlite3.Connection:
    file = sqlite3.connect(package)
    for name in _FUNCTIONS:
        file.create_function(name, 1, lambda _: 0)
    return file
