"""The rows of a layer's table read as SQLite has them, by the types that the table declares: columns of values again.

It shares nothing with what wrote them.
"""

import sqlite3
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.files.geopackages import ENVELOPE_BYTES
from pipeline.files.guarded_database import Guarded
from pipeline.files.unlocked_database import quoted
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.tables import TIME

#: Bytes before a geometry's envelope: magic, version, flags, srs_id (OGC 12-128r19, clause 2.1.3).
HEADER_BYTES = 8

_Values = Sequence[Any]


def stored_rows(
    file: sqlite3.Connection | Guarded, layer: str, some: Sequence[int] | None = None
) -> tuple[pa.RecordBatch, _Values]:
    """Return the rows of a layer in order, their geometry as WKB and last, and the geometries as they are kept.

    All of them, or ``some``, by their feature ids, ascending. Raises ValueError where a value is not of its column's
    type, where feature ids do not count from 1 or some are missing, or where a column is of no type that an issue has.
    """
    declared = [(str(name), str(kind)) for _, name, kind, *_ in file.execute(f"PRAGMA table_info({quoted(layer)})")]
    where = "" if some is None else f"WHERE fid IN ({', '.join(map(str, some))})"
    rows = file.execute(f"SELECT * FROM {quoted(layer)} {where} ORDER BY fid").fetchall()
    columns = dict(zip((name for name, _ in declared), zip(*rows, strict=True), strict=True)) if rows else {}
    if list(columns.get("fid", ())) != list(range(1, len(rows) + 1) if some is None else some):
        raise ValueError("its feature ids are not those of rows in order")
    shapes = columns.get("geom", ())
    found: dict[str, pa.Array] = {}
    for name, kind in declared:
        if name in ("fid", "geom"):
            continue
        if kind not in _READ:
            raise ValueError(f"its column {name} is of type {kind}")
        try:
            found[name] = _READ[kind](columns.get(name, ()))
        except (pa.ArrowException, ValueError, TypeError, AttributeError) as error:
            raise ValueError(f"its column {name} has a value that is no {kind}") from error
    found[GEOMETRY] = pa.array([None if shape is None else _wkb(shape) for shape in shapes], pa.binary())
    return pa.RecordBatch.from_pydict(found), shapes


def _wkb(shape: bytes) -> bytes:
    return shape[HEADER_BYTES + ENVELOPE_BYTES.get(shape[3] >> 1 & 7, 0) :]


def _as(kind: pa.DataType) -> Callable[[_Values], pa.Array]:
    return lambda values: pa.array(values, kind)


def _moments(values: _Values) -> pa.Array:
    texts = ["NaT" if value is None else value.removesuffix("Z") for value in values]
    return pa.array(np.array(texts, "datetime64[ms]"), pa.timestamp("ms")).cast(TIME)


def _dates(values: _Values) -> pa.Array:
    return pa.array(np.array(["NaT" if value is None else value for value in values], "datetime64[D]"), pa.date32())


def _whether(values: _Values) -> pa.Array:
    if not {*values} <= {None, 0, 1}:
        raise ValueError("neither yes nor no")
    return pa.array([None if value is None else value == 1 for value in values], pa.bool_())


_READ: dict[str, Callable[[_Values], pa.Array]] = {
    "TEXT": _as(pa.string()),
    "BLOB": _as(pa.binary()),
    "BOOLEAN": _whether,
    "DATETIME": _moments,
    "DATE": _dates,
    **dict.fromkeys(("REAL", "FLOAT", "DOUBLE"), _as(pa.float64())),
    **dict.fromkeys(("INTEGER", "MEDIUMINT", "SMALLINT", "TINYINT"), _as(pa.int64())),
}
