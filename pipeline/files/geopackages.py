"""A GeoPackage as SQLite keeps it: its layers, their columns as declared, the bytes of its geometries.

A column of an SQLite table may hold values of any class, whatever it is declared as; a library that converts them by
the declared type makes zeros of texts. Here the stored values are at hand. The clauses
are those of OGC 12-128r19.
"""

import re
import sqlite3
import struct
from functools import partial
from pathlib import Path

from msgspec import Struct

from pipeline.files.features import several_points
from pipeline.files.guarded_database import Guarded, guarded, guarded_file
from pipeline.files.unlocked_database import is_there, quoted
from pipeline.words import counted

#: What an SQLite database begins with (SQLite's file format, section 1.3).
SQLITE = b"SQLite format 3\0"

_EPSG = re.compile(r'(?:AUTHORITY\["EPSG","(\d+)"\]|ID\["EPSG",(\d+)\])\]\s*$')
_RTREE = re.compile(r"\bUSING\s+rtree\s*\(", re.IGNORECASE)
#: Bits 1 to 3 of a geometry's flags say what envelope precedes the WKB (clause 2.1.3).
ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_EMPTY, _EXTENDED = 0x10, 0x20
#: srs_ids of undefined systems (clause 1.1.2): a geometry that bears one of them says nothing against its layer's.
_UNDEFINED = (-1, 0)
#: A definition that says no more than these: some programs give a layer without a system one of their own, with a
#: number of their own.
_NO_SYSTEM = re.compile(
    r'\s*(?:\w+\s*[\[(]\s*"undefined|(?:LOCAL_CS|ENGCRS|ENGINEERINGCRS)\s*[\[(]\s*"(?:unknown|unnamed|"))|\s*undefined',
    re.IGNORECASE,
)
#: WKB codes of multipoints; each point in one has its own head, behind the count.
_MULTIPOINTS = (4, 1004, 2004, 3004, 0x80000004, 0x40000004, 0xC0000004)
_COUNT_ENDS = 9
#: WKB codes of points, ISO and older ones, and the size of each.
POINTS = {1: 21, 1001: 29, 2001: 29, 3001: 37, 0x80000001: 29, 0x40000001: 29, 0xC0000001: 37}


class Column(Struct, frozen=True):
    """A column and the type that it is declared as, in capitals."""

    name: str
    declared: str


class Layer(Struct, frozen=True):
    """A layer or attribute table.

    ``columns`` are its attributes; ``geometry`` the column of geometries and ``crs`` what it is in, as "EPSG:n" or WKT,
    each None where there is none; ``srs_ids`` are those that a geometry may bear; ``key`` the expression that numbers
    the rows, None where nothing does; ``declared_key`` whether that is a column made for it.
    """

    name: str
    columns: tuple[Column, ...]
    geometry: str | None
    crs: str | None
    srs_ids: frozenset[int]
    key: str | None
    declared_key: bool


class BrokenGeometry(ValueError):
    """Bytes that are no geometry of their layer; the message says why."""


def opened(path: Path) -> Guarded:
    """Open a GeoPackage as it is in itself, to read it (see `guarded_database`). Raises sqlite3.Error and OSError."""
    return _readable(guarded_file(path, check_same_thread=False))


def of_bytes(data: bytes) -> Guarded:
    """Open a GeoPackage that is in memory: what is read is what the bytes' sum stands for. Raises sqlite3.Error."""
    # a file that was left in write-ahead mode (bytes 18 and 19 are 2) cannot be opened from memory as such
    content = data[:18] + b"\1\1" + data[20:] if data[18:20] == b"\2\2" else data
    return _readable(guarded(":memory:", len(data), content, check_same_thread=False))


def _readable(connection: Guarded) -> Guarded:
    # text need not be UTF-8: what is not comes out as lone surrogates rather than as an error in the middle of a table
    connection.text_factory = partial(str, encoding="utf-8", errors="surrogateescape")
    return connection


def layer_names(package: sqlite3.Connection) -> list[str]:
    """Return the names of the layers and attribute tables in order. Raises sqlite3.Error."""
    sql = "SELECT table_name FROM gpkg_contents WHERE data_type IN ('features', 'attributes') ORDER BY table_name"
    return [str(name) for (name,) in package.execute(sql)]


def describe(package: sqlite3.Connection, name: str) -> Layer:
    """Describe a layer. Raises sqlite3.Error."""
    # of a column that is computed the type says nothing
    sql = "SELECT name, iif(hidden = 0, type, ''), pk FROM pragma_table_xinfo(?) WHERE hidden <> 1"
    info = package.execute(sql, (name,)).fetchall()
    if not info:
        raise sqlite3.OperationalError(f"no such table: {name}")
    geometry, srs_id = _geometry(package, name)
    keys = [column for column, _, primary in info if primary]
    declared = [str(kind).upper() for _, kind, primary in info if primary] == ["INTEGER"]
    key = quoted(keys[0]) if declared else _row_number(package, name)
    columns = tuple(
        Column(str(column), " ".join(str(kind).upper().split()))
        for column, kind, primary in info
        if not (geometry is not None and column.casefold() == geometry.casefold()) and not (declared and primary)
    )
    crs, srs_ids = _crs(package, srs_id) if geometry is not None else (None, frozenset[int]())
    if isinstance(package, Guarded) and is_stored(package, name):
        package.nothing_computed()
    return Layer(name, columns, geometry, crs, srs_ids, key, declared)


def is_stored(package: sqlite3.Connection, name: str) -> bool:
    """Tell whether a layer is a table all of whose values are stored: no view, no column or table that is computed."""
    sql = "SELECT type, sql FROM sqlite_master WHERE name = ? COLLATE NOCASE AND type IN ('table', 'view')"
    kind, text = package.execute(sql, (name,)).fetchone() or ("", "")
    computed = "SELECT 1 FROM pragma_table_xinfo(?) WHERE hidden > 1"
    virtual = " ".join(str(text).upper().split()[:2]) == "CREATE VIRTUAL"
    return kind == "table" and not virtual and package.execute(computed, (name,)).fetchone() is None


def for_gdal(package: sqlite3.Connection) -> bool:
    """Tell whether GDAL, which nothing bounds, may open a GeoPackage: nothing that it looks at by itself is computed.

    Raises sqlite3.Error where that cannot be read to its end.
    """
    for name, kind, text in package.execute("SELECT name, type, sql FROM sqlite_master").fetchall():
        words = str(text or "").upper().split()
        if kind == "view" or (words[:2] == ["CREATE", "VIRTUAL"] and not _RTREE.search(str(text))):
            return False
        if kind == "table" and words[:2] != ["CREATE", "VIRTUAL"] and not is_stored(package, str(name)):
            return False
        if kind == "table" and str(name).casefold().startswith("gpkg_"):
            package.execute(f"SELECT sum(1) FROM {quoted(str(name))}").fetchone()  # count(*) would not be bounded
    return True


def _geometry(package: sqlite3.Connection, name: str) -> tuple[str | None, int]:
    if not is_there(package, "gpkg_geometry_columns"):
        return None, 0
    sql = "SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ? COLLATE NOCASE"
    found = package.execute(sql, (name,)).fetchone()
    return (str(found[0]), _whole(found[1])) if found else (None, 0)


def _whole(stored: object) -> int:
    return stored if isinstance(stored, int) else 0


def _row_number(package: sqlite3.Connection, name: str) -> str | None:
    """Return SQLite's own number of a row, None for a view or a table that is kept without."""
    sql = "SELECT type FROM sqlite_master WHERE name = ? COLLATE NOCASE AND type IN ('table', 'view')"
    if (package.execute(sql, (name,)).fetchone() or ("",))[0] != "table":
        return None
    try:
        package.execute(f"SELECT _rowid_ FROM {quoted(name)} LIMIT 0")
    except sqlite3.OperationalError:
        return None
    return "_rowid_"


def _crs(package: sqlite3.Connection, srs_id: int) -> tuple[str | None, frozenset[int]]:
    """Return a system by its code or its WKT, and every srs_id that stands for it here."""
    sql = "SELECT srs_id, organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys"
    known = {_whole(row[0]): row[1:] for row in package.execute(sql)}
    organization, code, definition = known.get(srs_id, ("NONE", 0, "undefined"))
    same = [number for number, other in known.items() if other[:2] == (organization, code)]
    none = [number for number, other in known.items() if _NO_SYSTEM.match(str(other[2]))]
    ids = frozenset((srs_id, *same, *_UNDEFINED, *none))
    if str(organization).upper() == "EPSG":
        return f"EPSG:{code}", ids
    if srs_id in _UNDEFINED or not definition or _NO_SYSTEM.match(str(definition)):
        return None, ids
    found = _EPSG.search(str(definition))
    return f"EPSG:{found[1] or found[2]}" if found else str(definition), ids


def wkb_of(stored: object, srs_ids: frozenset[int]) -> bytes | None:
    """Return the well-known binary in a stored geometry, None where it is null or empty.

    A multipoint of one point, as programs write in layers that may have several, is that point. Raises `BrokenGeometry`
    where it is none, one of several points, or one in another CRS than the layer's.
    """
    if stored is None:
        return None
    if not isinstance(stored, bytes) or len(stored) < 8 or stored[:2] != b"GP":
        raise BrokenGeometry("the geometry is not a GeoPackage geometry")
    flags = stored[3]
    envelope = ENVELOPE_BYTES.get(flags >> 1 & 7)
    if envelope is None or flags & _EXTENDED:
        raise BrokenGeometry("the geometry is of a type that is not supported")
    (srs_id,) = struct.unpack_from("<i" if flags & 1 else ">i", stored, 4)
    if srs_id not in srs_ids:
        raise BrokenGeometry(f"the geometry states srs_id {srs_id}, which is not the layer's")
    if flags & _EMPTY:
        return None
    wkb = stored[8 + envelope :]
    if len(wkb) >= _COUNT_ENDS and wkb[0] <= 1 and geometry_kind(wkb) in _MULTIPOINTS:
        if (point := _single(wkb)) is None:
            return None
        wkb = point
    if len(wkb) < 5 or wkb[0] > 1 or POINTS.get(geometry_kind(wkb), len(wkb)) != len(wkb):
        raise BrokenGeometry("the geometry is truncated or damaged")
    return wkb


def _single(wkb: bytes) -> bytes | None:
    """Return the only point of a multipoint, None where it has none. Raises `BrokenGeometry` where it has several."""
    count = int.from_bytes(wkb[5:_COUNT_ENDS], "little" if wkb[0] == 1 else "big")
    point = wkb[_COUNT_ENDS:]
    if count > 1:
        raise BrokenGeometry(several_points(counted(count, "point")))
    if count and (len(point) < 5 or point[0] > 1 or geometry_kind(point) not in POINTS):
        raise BrokenGeometry("the geometry is truncated or damaged")
    return point if count else None


def is_plain_point(stored: bytes, wkb: bytes) -> bool:
    """Tell whether a stored geometry is a point itself, rather than a multipoint with that point in it."""
    return len(stored) - 8 - len(wkb) in ENVELOPE_BYTES.values()


def geometry_kind(wkb: bytes) -> int:
    """Return the geometry type in the head of a well-known binary."""
    return int.from_bytes(wkb[1:5], "little" if wkb[0] == 1 else "big")
