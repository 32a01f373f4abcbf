"""A GeoPackage as a database: its header, the definitions in it, and its tables beside the layers.

Whoever alters an issue may leave the rows of its layers as they are, and change what they are in, how they are found or
what happens when they are touched. What is kept of all that is small; the rest of the file the sum of its bytes tells.
"""

import hashlib
import sqlite3
from collections.abc import Collection
from pathlib import Path

from pipeline.files.guarded_database import Guarded
from pipeline.files.unlocked_database import as_seen, quoted
from pipeline.issue.record_types import DatabaseIssued, FileIssued

HEADER = 100
#: What a program that only opens a file may change of its header (SQLite's file format, section 1.3): how it is locked,
#: the counter of changes, and which change by which version of SQLite was the last.
TOUCHED = (slice(18, 20), slice(24, 28), slice(92, 100))

#: Hexadecimal digits kept of a sum, as in `content_sums`.
_DIGITS = 16
#: How the tables are called in which a spatial index is kept.
_INDEX, _KEPT_IN = "rtree_", ("_node", "_parent", "_rowid")
_PIECE = 1 << 20


def database_of(package: Path, database: Guarded, layers: Collection[str]) -> DatabaseIssued:
    """Return what a GeoPackage, open as ``database``, has beside rows of ``layers``. Raises OSError, sqlite3.Error."""
    with package.open("rb") as file:
        header = file.read(HEADER)
    as_text, database.text_factory = database.text_factory, bytes
    found = database.execute("SELECT type, name, sql FROM sqlite_master ORDER BY type, name").fetchall()
    objects = {f"{_text(kind)} {_text(name)}": _sum([(sql,)]) for kind, name, sql in found}
    names = [_text(name) for kind, name, sql in found if kind == b"table" and not _virtual(sql)]
    tables = {name: _rows(database, name) for name in names if name not in layers and not _of_index(name)}
    database.text_factory = as_text
    return {"header": header.hex(), "objects": objects, "tables": tables}


def only_touched(package: Path, entry: FileIssued) -> bool:
    """Say whether all of a GeoPackage is as issued but for what opening it touches, logs beside it taken in.

    False where that cannot be told: the file is gone or no database, or the record has nothing to tell it by.
    """
    if "database" not in entry:
        return False
    try:
        with as_seen(package) as seen:
            return _digest(seen, entry["database"]["header"]) == entry["sha256"]
    except (OSError, sqlite3.DatabaseError):
        return False


def _digest(package: Path, header: str) -> str:
    """Return the SHA-256 of a GeoPackage, were its header untouched since it had this one. Raises OSError."""
    issued, total = bytes.fromhex(header), hashlib.sha256()
    with package.open("rb") as file:
        found = bytearray(file.read(HEADER))
        for touched in TOUCHED:
            found[touched] = issued[touched][: len(found[touched])]
        total.update(found)
        while piece := file.read(_PIECE):
            total.update(piece)
    return total.hexdigest()


def _virtual(sql: bytes | None) -> bool:
    return (sql or b"").upper().split()[:2] == [b"CREATE", b"VIRTUAL"]


def _of_index(name: str) -> bool:
    return name.startswith(_INDEX) and name.endswith(_KEPT_IN)


def _rows(database: sqlite3.Connection, name: str) -> str:
    """Return the sum of a small table's rows, whatever their order."""
    return _sum(sorted(database.execute(f"SELECT * FROM {quoted(name)}").fetchall(), key=repr))


def _sum(rows: list[tuple[object, ...]]) -> str:
    return hashlib.sha256(repr(rows).encode()).hexdigest()[:_DIGITS]


def _text(name: object) -> str:
    return name.decode("utf-8", "backslashreplace") if isinstance(name, bytes) else str(name)
