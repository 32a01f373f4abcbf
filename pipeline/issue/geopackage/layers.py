"""The layers of an issue: their columns in the contract's order, and their geometry as ISO WKB.

Lengths are metres in the target grid and height datum, angles degrees, times UTC. Every layer ends in a binary column
`GEOMETRY`; it becomes the layer's geometry and is null where the position is not known.
"""

from collections.abc import Iterable, Sequence
from types import NoneType
from typing import Annotated, Any, get_args, get_origin, get_type_hints

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.arrays import Floats, Integers
from pipeline.issue.former_names import column_names
from pipeline.issue.record_values import UTC_TIME
from pipeline.issue.row_types import CheckRow, MarkRow, RepeatRow, SessionRow
from pipeline.tables import TIME, bytes_column, bytes_of

#: Name of the Arrow column that holds the geometry; in the GeoPackage it is called ``geom``.
GEOMETRY = "geometry"

POINT_Z = "Point Z"
LINE_Z = "LineString Z"

#: Byte order, ISO geometry type (1001), x, y, z: 29 bytes without padding.
WKB_POINT_Z = np.dtype([("order", "u1"), ("type", "<u4"), ("xyz", "<f8", (1, 3))])
#: Byte order, ISO geometry type (1002), number of vertices (2), two vertices: 57 bytes.
WKB_LINE_Z = np.dtype([("order", "u1"), ("type", "<u4"), ("vertices", "<u4"), ("xyz", "<f8", (2, 3))])

#: What precedes the vertices of a line: byte order, ISO geometry type (1002), their number; and the bytes of one.
WKB_LINE_HEAD = np.dtype([("order", "u1"), ("type", "<u4"), ("vertices", "<u4")])
VERTEX = 24

_TEXT, _NUMBER, _COUNT = pa.string(), pa.float64(), pa.int64()
_OF_VALUES = {str: _TEXT, float: _NUMBER, int: _COUNT, bool: pa.bool_()}

# Names that a GeoPackage's own columns have, here or when another program rebuilds the layer; SQLite ignores case.
_TAKEN_BY_THE_FILE = ("fid", "geom", GEOMETRY, "rowid", "_rowid_", "ogc_fid")


def _schema(**columns: pa.DataType) -> pa.Schema:
    return pa.schema([*columns.items(), (GEOMETRY, pa.binary())])


def _columns_of(row: type) -> dict[str, pa.DataType]:
    """Return the columns of a layer by the type of its rows: each key with the type of its values."""
    return {name: _column_type(hint) for name, hint in get_type_hints(row, include_extras=True).items()}


def _column_type(hint: Any) -> pa.DataType:
    """Return the type of a column whose values have a type such as ``Annotated[float | None, ...]``."""
    if get_origin(hint) is Annotated:
        return TIME if UTC_TIME in hint.__metadata__ else _column_type(hint.__origin__)
    (plain,) = [kind for kind in get_args(hint) or (hint,) if kind is not NoneType]
    return _OF_VALUES[plain] if plain in _OF_VALUES else _column_type(plain)


_POINTS = _schema(
    name=_TEXT,
    code=_TEXT,
    easting=_NUMBER,
    northing=_NUMBER,
    height=_NUMBER,
    ellipsoid_height=_NUMBER,
    longitude=_NUMBER,
    latitude=_NUMBER,
    session=_TEXT,
    observed=TIME,
    hu95=_NUMBER,
    vu95=_NUMBER,
    proof=_TEXT,
    solution=_TEXT,
    source_file=_TEXT,
    source_row=_COUNT,
)

#: The layers whose rows the record has too are described once, with the record.
CHECK_MARKS, MARKS, REPEATS, SESSIONS = (
    _schema(**_columns_of(row)) for row in (CheckRow, MarkRow, RepeatRow, SessionRow)
)

#: Every row of the exports that is not issued.
HELD_BACK = _schema(
    name=_TEXT,
    code=_TEXT,
    session=_TEXT,
    observed=TIME,
    reason=_TEXT,
    detail=_TEXT,
    easting=_NUMBER,
    northing=_NUMBER,
    height=_NUMBER,
    source_file=_TEXT,
    source_row=_COUNT,
)

#: From the second issue on: what changed since the one before, as a line from old to new.
CHANGES = _schema(
    name=_TEXT,
    change=_TEXT,
    old_easting=_NUMBER,
    old_northing=_NUMBER,
    old_height=_NUMBER,
    new_easting=_NUMBER,
    new_northing=_NUMBER,
    new_height=_NUMBER,
    d_east=_NUMBER,
    d_north=_NUMBER,
    d_height=_NUMBER,
    because=_TEXT,
)

#: Where the job has linework: the strings of its codes, as lines from issued point to issued point.
LINES = _schema(
    name=_TEXT,
    code=_TEXT,
    number=_TEXT,
    description=_TEXT,
    closed=pa.bool_(),
    points=_COUNT,
    length=_NUMBER,
    hu95=_NUMBER,
    vu95=_NUMBER,
    proof=_TEXT,
    session=_TEXT,
    started=TIME,
    ended=TIME,
    source_file=_TEXT,
    source_row=_COUNT,
)


def points_schema(carried: Sequence[pa.Field] = (), former: Sequence[str] = (), since: Sequence[int] = ()) -> pa.Schema:
    """Return the schema of ``points`` (and of a layer per code): our columns, the export's own, the geometry.

    A carried column keeps its place and, where nothing else has it, its name. ``Name`` beside our ``name`` becomes
    ``Name_export``; the second of two alike becomes ``Depth_2``. Its type stays too, unless a GeoPackage cannot hold it
    or would hold it wrongly: cast the columns to the types returned here.

    What had a name in issues before keeps it: ``former`` are the columns of those, and ``since`` says for each of
    ``carried`` in which issue it first was.
    """
    ours = [field for field in _POINTS if field.name != GEOMETRY]
    names = _free_names([field.name for field in carried], [field.name for field in ours], former, since)
    own = [pa.field(name, _storable(field.type)) for field, name in zip(carried, names, strict=True)]
    return pa.schema([*ours, *own, _POINTS.field(GEOMETRY)])


def _storable(kind: pa.DataType) -> pa.DataType:
    if pa.types.is_null(kind) or pa.types.is_string_view(kind):
        return pa.string()
    if pa.types.is_timestamp(kind) and kind.tz is not None:
        return TIME  # GDAL writes any other zone as UTC's clock without saying so
    return kind


def _free_names(wanted: Sequence[str], ours: Iterable[str], former: Sequence[str], since: Sequence[int]) -> list[str]:
    reserved = {name.casefold() for name in (*ours, *_TAKEN_BY_THE_FILE)}
    stems = [given.strip() or "column" for given in wanted]
    stems = [f"{stem}_export" if stem.casefold() in reserved else stem for stem in stems]
    return column_names(stems, former, since or [0] * len(stems), reserved)


def wkb_points(x: Floats, y: Floats, z: Floats) -> pa.BinaryArray:
    """Return easting, northing, height (n,) in metres as WKB points; null where one of the three is not finite."""
    wkb = np.empty(len(x), WKB_POINT_Z)
    wkb["order"], wkb["type"] = 1, 1001
    for column, values in enumerate((x, y, z)):
        wkb["xyz"][:, 0, column] = values + 0.0  # no minus zero: a GeoPackage's columns have none either
    return _binary(wkb)


def wkb_lines(start: Floats, end: Floats) -> pa.BinaryArray:
    """Return lines from ``start`` to ``end``, each (n, 3) in metres, as WKB; null where an end is not finite."""
    wkb = np.empty(len(start), WKB_LINE_Z)
    wkb["order"], wkb["type"], wkb["vertices"] = 1, 1002, 2
    wkb["xyz"][:, 0], wkb["xyz"][:, 1] = start, end
    return _binary(wkb)


def wkb_strings(vertices: Floats, many: Integers) -> pa.BinaryArray:
    """Return lines of several vertices as WKB.

    Args:
        vertices: of all lines one after another, (v, 3) in metres.
        many: (n,) how many of them each line has; at least two.
    """
    sizes = WKB_LINE_HEAD.itemsize + VERTEX * many
    offsets = np.zeros(len(many) + 1, np.int64)
    np.cumsum(sizes, out=offsets[1:])
    if offsets[-1] > np.iinfo(np.int32).max:
        raise ValueError("the lines of a layer have more vertices than one batch can hold")
    held = np.empty(int(offsets[-1]), np.uint8)
    heads = np.zeros(len(many), WKB_LINE_HEAD)
    heads["order"], heads["type"], heads["vertices"] = 1, 1002, many
    of_heads = offsets[:-1, None] + np.arange(WKB_LINE_HEAD.itemsize)
    held[of_heads] = heads.view(np.uint8).reshape(len(many), WKB_LINE_HEAD.itemsize)
    rest = np.ones(len(held), bool)
    rest[of_heads] = False
    held[rest] = np.ascontiguousarray(vertices + 0.0, "<f8").reshape(-1).view(np.uint8)
    buffers = [None, pa.py_buffer(offsets.astype(np.int32)), pa.py_buffer(held)]
    return pa.Array.from_buffers(pa.binary(), len(many), buffers)


def vertices_of(shapes: pa.BinaryArray) -> tuple[Floats, Integers]:
    """Return the vertices (v, 3) of lines given as WKB, none of them null, and how many each has (n,).

    Raises ValueError where one is no line of at least two vertices with heights.
    """
    content, offsets = bytes_of(shapes)
    held = np.frombuffer(content, np.uint8)
    if (np.diff(offsets) < WKB_LINE_HEAD.itemsize + 2 * VERTEX).any():
        raise ValueError("a geometry is no line of at least two vertices")
    of_heads = offsets[:-1, None] + np.arange(WKB_LINE_HEAD.itemsize)
    heads = np.ascontiguousarray(held[of_heads]).view(WKB_LINE_HEAD).ravel()
    many = heads["vertices"].astype(np.int64)
    sound = (heads["order"] == 1) & (heads["type"] == 1002)
    if not (sound & (np.diff(offsets) == WKB_LINE_HEAD.itemsize + VERTEX * many)).all():
        raise ValueError("a geometry is no line with heights, or has another size than it says")
    rest = np.ones(len(held), bool)
    rest[of_heads] = False
    return held[rest].view("<f8").reshape(-1, 3), many


def each_of(vertices: Floats, many: Integers) -> list[Floats]:
    """Return the vertices (v, 3) of each line, of those of all one after another; each has as many as ``many`` (l,)."""
    return np.split(vertices, np.cumsum(many)[:-1]) if len(many) else []


def _binary(wkb: npt.NDArray[Any]) -> pa.BinaryArray:
    # One packed array is the whole value buffer: a million points in 0.05 s, where making shapes takes a second.
    return bytes_column(wkb, np.isfinite(wkb["xyz"]).all(axis=(1, 2)))
