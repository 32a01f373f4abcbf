"""What the columns of a GeoPackage's layer really hold, asked of SQLite in one pass before anything is read.

A file as GDAL writes it holds everything as declared, and can be read by GDAL quickly. Where a single value is not of
its column's class, GDAL would make something else of it, so such a layer is read as SQLite gives it.
"""

import re
import sqlite3
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pyarrow as pa
from msgspec import Struct

from pipeline.digest import Signature
from pipeline.files.geopackages import (
    POINTS,
    BrokenGeometry,
    Column,
    Layer,
    describe,
    for_gdal,
    geometry_kind,
    is_plain_point,
    is_stored,
    opened,
    wkb_of,
)
from pipeline.files.unlocked_database import quoted
from pipeline.read.mixed_columns import column_type
from pipeline.tables import TIME

#: Types of whole numbers and the bytes of each.
_INTEGERS = {"TINYINT": 1, "SMALLINT": 2, "MEDIUMINT": 4, "INT": 8, "INTEGER": 8}
_ARROW = {1: pa.int16(), 2: pa.int16(), 4: pa.int32(), 8: pa.int64()}
_CLASSES: dict[str, type] = {"integer": int, "real": float, "text": str, "blob": bytes, "null": type(None)}
_TEXT, _BLOB = re.compile(r"TEXT(?: ?\(\d+\))?"), re.compile(r"BLOB(?: ?\(\d+\))?")

#: A date and a date-time as the standard wants them (clause 1.1.1.1.3); of others GDAL guesses the zone.
_DAY = "[0-9][0-9][0-9][0-9]-[01][0-9]-[0-3][0-9]"
_DATE = f"{{0}} GLOB '{_DAY}'"
_FACE = f"{_DAY}T[0-2][0-9]:[0-5][0-9]:[0-5][0-9]"
_TIME = f"(({{0}} GLOB '{_FACE}.[0-9][0-9][0-9]Z' OR {{0}} GLOB '{_FACE}Z') AND substr({{0}}, 12, 2) < '24')"
#: The last days of a month are looked at by SQLite, which turns 30 February into another date.
_EXISTS = (
    "(substr({0}, 6, 2) BETWEEN '01' AND '12' AND substr({0}, 9, 2) > '00'"
    " AND (substr({0}, 9, 2) < '29' OR date(substr({0}, 1, 10), '+0 days') = substr({0}, 1, 10)))"
)


#: Bytes that a view may make of any file, and so many times the file's own.
_VIEW_BYTES_FREE, _VIEW_TIMES_FILE = 1 << 24, 10

#: Parts of one SQL expression: SQLite takes them 1,000 deep (sqlite.org/limits.html).
_PARTS = 200


class Stored(Struct, frozen=True):
    """A layer, its rows, the type in which each of its columns is delivered, and whether GDAL gives it as it is."""

    layer: Layer
    rows: int
    types: tuple[pa.DataType, ...]
    plain: bool

    @property
    def schema(self) -> pa.Schema:
        """The attribute columns as delivered."""
        return pa.schema([(column.name, kind) for column, kind in zip(self.layer.columns, self.types, strict=True)])


@lru_cache(maxsize=64)
def look_at(path: Path, name: str, mapped: frozenset[str], at: Signature) -> Stored:
    """Look at a layer once; ``at`` is there so that a file that was changed is looked at again.

    A date or time that the job file maps (``mapped`` are the columns' names) is delivered as the text that is stored
    unless GDAL can read the layer. Raises sqlite3.Error.
    """
    package = opened(path)
    try:
        layer = describe(package, name)
        # count(*) of a table is one step of SQLite's, however many rows its pages lead to
        ((rows,),) = package.execute(f"SELECT ifnull(sum(1), 0) FROM {quoted(name)}").fetchall()
        if not is_stored(package, name):
            _hold_to(package, layer, path.stat().st_size)
        plain = layer.declared_key and for_gdal(package)
        plain = plain and all(_is_plain(column, column.name in mapped) for column in layer.columns)
        conditions = {column.name: _holds(column) for column in layer.columns}
        shape = _shape(package, layer)
        if plain and not _any(package, layer, [*conditions.values(), shape]):
            types = tuple(_declared(column) or pa.string() for column in layer.columns)
            return Stored(layer, int(rows), types, True)
        return Stored(
            layer,
            int(rows),
            tuple(_type(package, layer, column, column.name in mapped) for column in layer.columns),
            False,
        )
    finally:
        package.close()


def _hold_to(package: sqlite3.Connection, layer: Layer, size: int) -> None:
    """Refuse a view or computed columns whose values together are much more than their file. Raises sqlite3.Error."""
    found = 0
    for some in _some([f"ifnull(length(CAST({quoted(column.name)} AS BLOB)), 0)" for column in layer.columns]):
        ((more,),) = package.execute(f"SELECT ifnull(sum({' + '.join(some)}), 0) FROM {quoted(layer.name)}").fetchall()
        found += more
    if found > _VIEW_BYTES_FREE + _VIEW_TIMES_FILE * size:
        raise sqlite3.DataError(
            f"the values of {layer.name} add up to {found >> 20:,} MB, much more than its file holds"
        )


def _declared(column: Column) -> pa.DataType | None:
    """Return the type of a column's values where they are as declared and GDAL gives them to the bit, else None."""
    declared = column.declared
    if declared in _INTEGERS:
        return _ARROW[_INTEGERS[declared]]
    if _TEXT.fullmatch(declared) or _BLOB.fullmatch(declared):
        return pa.string()
    # of a FLOAT column GDAL gives 32 bits, whatever is stored
    known = {"BOOLEAN": pa.bool_(), "DOUBLE": pa.float64(), "REAL": pa.float64(), "DATE": pa.date32(), "DATETIME": TIME}
    return known.get(declared)


def _is_plain(column: Column, mapped: bool) -> bool:
    """Whether GDAL gives a column's values to the bit where they are as declared; bytes are nothing to be mapped."""
    return _declared(column) is not None and not (mapped and _BLOB.fullmatch(column.declared))


def _holds(column: Column) -> str:
    """Return the SQL of what a stored value must be to be as declared, null apart."""
    name, declared = quoted(column.name), column.declared
    if declared == "BOOLEAN":
        return f"(typeof({name}) = 'integer' AND {name} IN (0, 1))"
    if declared in _INTEGERS:
        bits = 8 * _INTEGERS[declared] - 1
        whole = f"typeof({name}) = 'integer'"
        return whole if bits > 60 else f"({whole} AND {name} BETWEEN {-(1 << bits)} AND {(1 << bits) - 1})"
    if declared in ("DATE", "DATETIME"):
        form = _DATE if declared == "DATE" else _TIME
        return f"(typeof({name}) = 'text' AND {form.format(name)} AND {_EXISTS.format(name)})"
    if _TEXT.fullmatch(declared):
        return f"(typeof({name}) = 'text' AND instr({name}, char(0)) = 0)"
    if _BLOB.fullmatch(declared):
        return f"typeof({name}) = 'blob'"
    return f"typeof({name}) = 'real'"


def _shape(package: sqlite3.Connection, layer: Layer) -> str:
    """Return the SQL of what a geometry must be to be like the layer's first one, all of them then being sound."""
    if layer.geometry is None:
        return "1"
    name = quoted(layer.geometry)
    first = package.execute(f"SELECT {name} FROM {quoted(layer.name)} WHERE {name} IS NOT NULL LIMIT 1").fetchone()
    if first is None:
        return "1"
    try:
        wkb = wkb_of(first[0], layer.srs_ids)
    except BrokenGeometry:
        return "0"
    if wkb is None or geometry_kind(wkb) not in POINTS:
        return "0"
    length = len(first[0])
    if not is_plain_point(first[0], wkb):
        return "0"  # a point that stands in a multipoint, which GDAL would hand over as such
    return (
        f"(typeof({name}) = 'blob' AND length({name}) = {length} AND substr({name}, 1, 8) = X'{first[0][:8].hex()}'"
        f" AND substr({name}, {length - len(wkb) + 1}, 5) = X'{wkb[:5].hex()}')"
    )


def _any(package: sqlite3.Connection, layer: Layer, conditions: list[str]) -> bool:
    """Whether any row has a value that is neither null nor as it must be."""
    names = [quoted(column.name) for column in layer.columns] + [quoted(layer.geometry or "")]
    wrong = [
        f"({name} IS NOT NULL AND NOT {condition})"
        for name, condition in zip(names, conditions, strict=True)
        if condition != "1"
    ]
    for some in _some(wrong):
        sql = f"SELECT EXISTS (SELECT 1 FROM {quoted(layer.name)} WHERE {' OR '.join(some)})"
        if package.execute(sql).fetchone()[0]:
            return True
    return False


def _some(parts: list[str]) -> Iterator[list[str]]:
    """Yield parts of an SQL expression, so many at a time as one may have; not once where there are none."""
    for first in range(0, len(parts), _PARTS):
        yield parts[first : first + _PARTS]


def _type(package: sqlite3.Connection, layer: Layer, column: Column, mapped: bool) -> pa.DataType:
    """Return the type that keeps every value of a column as it is stored."""
    declared, name = _declared(column), quoted(column.name)
    dated = column.declared in ("DATE", "DATETIME")
    alone = Layer(layer.name, (column,), None, None, layer.srs_ids, None, False)
    if declared is not None and not (dated and mapped) and not _any(package, alone, [_holds(column), "1"]):
        return declared
    found = package.execute(
        f"SELECT DISTINCT typeof({name}), min({name}) FILTER (WHERE typeof({name}) = 'integer'),"
        f" max({name}) FILTER (WHERE typeof({name}) = 'integer') FROM {quoted(layer.name)} GROUP BY 1"
    ).fetchall()
    whole = [value for _, *ends in found for value in ends if value is not None]
    classes = {_CLASSES[kind] for kind, *_ in found}
    return pa.string() if dated and mapped else column_type(classes, min(whole, default=0), max(whole, default=0))
