"""The columns of a layer as a GeoPackage keeps them: times as text, a header before every geometry, no NUL in a text.

The values are those that the library's writer gives for the same columns; `tests/issue/test_stored_columns.py` holds
them to it.
"""

from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Floats
from pipeline.issue.geopackage.layers import GEOMETRY, WKB_POINT_Z, vertices_of
from pipeline.tables import bytes_column, bytes_of, iso_texts

#: What precedes the WKB of a geometry (OGC 12-128r18, clause 2.1.3): of points no envelope, of lines that of x, y, z.
_POINT = np.dtype([("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs_id", "<i4"), ("wkb", WKB_POINT_Z)])
_LINE_HEAD = np.dtype(
    [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs_id", "<i4"), ("envelope", "<f8", (3, 2))]
)
_LITTLE_ENDIAN, _WITH_ENVELOPE = 1, 4


def stored_columns(batch: pa.RecordBatch, first: int, srs_id: int) -> pa.RecordBatch:
    """Return rows as the columns of the layer's table: fid, geom, and the others in their order.

    Args:
        batch: the rows, in a schema of `layers`.
        first: the feature id of the first of them.
        srs_id: that of the layer, for the header of every geometry.
    """
    names = [name for name in batch.schema.names if name != GEOMETRY]
    fids = pa.array(np.arange(first, first + batch.num_rows, dtype=np.int64))
    shapes = _geometries(batch.column(GEOMETRY), srs_id)
    return pa.RecordBatch.from_arrays(
        [fids, shapes, *(stored_column(batch.column(name)) for name in names)], ["fid", "geom", *names]
    )


def stored_column(column: pa.Array) -> pa.Array:
    """Return one column as whole numbers, doubles, text or bytes, which is all that SQLite has."""
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    kind = column.type
    if pa.types.is_float64(kind) or pa.types.is_int64(kind):
        return column
    if pa.types.is_boolean(kind) or (pa.types.is_integer(kind) and not pa.types.is_uint64(kind)):
        return column.cast(pa.int64())
    if pa.types.is_floating(kind) or pa.types.is_decimal(kind) or pa.types.is_uint64(kind):
        return column.cast(pa.float64(), safe=False)
    if pa.types.is_timestamp(kind):
        return pc.replace_substring(iso_texts(column), ".000", "")  # milliseconds where there are any
    if pa.types.is_date32(kind):
        return column.cast(pa.string())
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        return _texts(column)
    return column


def _texts(column: pa.Array) -> pa.Array:
    """End every text where it has a NUL: readers would, wherever the file came from."""
    held = column.buffers()[2]
    if held is None or np.frombuffer(held, np.uint8).min(initial=1) > 0:
        return column
    return pc.replace_substring_regex(column, r"(?s)\x00.*", "")


def _geometries(shapes: pa.Array, srs_id: int) -> pa.Array:
    """Return geometries given as WKB with the header of a GeoPackage before each; none where there is none."""
    present = shapes.is_valid().to_numpy(zero_copy_only=False)
    there = shapes.drop_null()
    if _are_lines(there):
        return _lines(there, present, srs_id)
    blobs = np.zeros(len(shapes), _POINT)
    blobs["magic"], blobs["srs_id"] = b"GP", srs_id
    blobs["flags"] = _LITTLE_ENDIAN
    blobs["wkb"][present] = _packed(there)
    return bytes_column(blobs, present)


def _lines(shapes: pa.Array, present: npt.NDArray[np.bool_], srs_id: int) -> pa.Array:
    """Return lines, none of them null, each with its header, at the places where one is ``present``."""
    heads = np.zeros(len(shapes), _LINE_HEAD)
    heads["magic"], heads["srs_id"], heads["flags"] = b"GP", srs_id, _LITTLE_ENDIAN | _WITH_ENVELOPE
    heads["envelope"] = _extents(shapes)
    blobs = pa.array([head.tobytes() for head in heads], pa.binary())
    whole = pc.binary_join_element_wise(blobs, shapes, b"")
    places = np.full(len(present), -1)
    places[present] = np.arange(len(shapes))
    return whole.take(pa.array(places, mask=~present))


def boxes(shapes: pa.Array) -> Floats:
    """Return the extents (n, 4) of geometries given as WKB: least and most x, least and most y; NaN where none."""
    there = shapes.drop_null()
    if _are_lines(there):
        found = _extents(there)[:, :2].reshape(-1, 4)
    else:
        found = np.repeat(_packed(there)["xyz"][:, 0, :2], 2, axis=1)
    if shapes.null_count == 0:
        return found
    of_all = np.full((len(shapes), 4), np.nan)
    of_all[shapes.is_valid().to_numpy(zero_copy_only=False)] = found
    return of_all


def _extents(lines: pa.Array) -> Floats:
    """Return (n, 3, 2) the least and the most x, y and z of lines, none of them null."""
    vertices, many = vertices_of(lines)
    start = np.cumsum(many) - many
    return np.stack([np.minimum.reduceat(vertices, start), np.maximum.reduceat(vertices, start)], axis=2)


def _are_lines(shapes: pa.Array) -> bool:
    """Say whether geometries, none of them null, are lines."""
    return len(shapes) > 0 and len(shapes[0].as_buffer()) > WKB_POINT_Z.itemsize


def _packed(shapes: pa.Array) -> npt.NDArray[Any]:
    """Return points, none of them null, in their packed layout."""
    return np.frombuffer(bytes_of(shapes)[0], WKB_POINT_Z)
