"""All rows of a written GeoPackage read again as SQLite holds them."""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.files.geopackages import ENVELOPE_BYTES
from pipeline.files.guarded_database import Guarded
from pipeline.files.unlocked_database import quoted, unlocked
from pipeline.issue.geopackage.content_sums import Content
from pipeline.issue.geopackage.layers import GEOMETRY, LINE_Z, WKB_POINT_Z
from pipeline.issue.geopackage.stored_rows import HEADER_BYTES, stored_rows
from pipeline.issue.geopackage.written_counts import KEPT, Geometries, Shapes, Written, alike, unpacked
from pipeline.words import counted

_PIECE = 2000

#: Points of a large layer whose geometries SQLite puts together at a time, in how many threads.
_TOGETHER, _BESIDE = 1 << 15, 2

#: The beginning of a geometry as a GeoPackage keeps it (OGC 12-128r19, clause 2.1.3).
_HEAD = [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs_id", "<i4")]


def differences_by_sqlite(path: Path, file: Guarded, layers: tuple[Written, ...]) -> list[str]:
    """Return what of all layers, and of all their rows, differs from what was given."""
    there = [name for (name,) in file.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid")]
    given = [layer.name for layer in layers]
    if there != given:
        return [f"its layers are {there}, given were {given}"]
    return [f"layer {layer.name}: {what}" for layer in layers for what in _layer_by_sqlite(path, file, layer)]


def _layer_by_sqlite(path: Path, file: Guarded, layer: Written) -> Iterator[str]:
    found = Geometries()
    rows = 0
    srs_ids = {
        srs_id
        for (srs_id,) in file.execute(
            "SELECT srs_id FROM gpkg_contents WHERE table_name = ?1 "
            "UNION SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?1",
            (layer.name,),
        )
    }
    try:
        for many, headers, shapes in _shapes(path, file, layer):
            rows += many
            srs_ids |= headers
            found.add(shapes)
    except ValueError as error:
        yield str(error)
        return
    if len(srs_ids) != 1:
        yield f"its tables and geometries bear different srs_ids {sorted(srs_ids)}"
    if (rows, found.count) != (layer.rows, layer.geometries):
        yield f"it has {rows} and {found.count} as rows and geometries, given were {layer.rows} and {layer.geometries}"
    if not np.array_equal([found.low, found.high], [layer.low, layer.high], equal_nan=True):
        yield f"its geometries range from {found.low} to {found.high}, given was {layer.low} to {layer.high}"
    if found.checksum != layer.checksum:
        yield "a geometry is not the one given" + _row_apart(file, layer)
    yield from _summaries(file, layer)


def _shapes(path: Path, file: Guarded, layer: Written) -> Iterator[tuple[int, set[int], Shapes]]:
    """Yield a layer in pieces: their rows, the srs_ids in the headers of the geometries, and those.

    Raises ValueError where the values of a small layer are not those given, or geometries are not all alike.
    """
    if layer.rows > KEPT:
        fids = layer.some.fids.tolist()
        pieces = (fids[start : start + _PIECE] for start in range(0, len(fids), _PIECE))
        _compare((stored_rows(file, layer.name, piece)[0] for piece in pieces), layer, layer.some.sums)
    if layer.rows > KEPT and layer.geometry_type != LINE_Z:
        for many, blobs, packed in _points(path, layer):
            yield many, *_unpack_points(packed, blobs)
        return
    for piece in [_whole(file, layer)] if layer.rows <= KEPT else _pieces(file, quoted(layer.name)):
        yield len(piece), *_unpack([blob for blob in piece if blob is not None], layer.geometry_type)


def _points(path: Path, layer: Written) -> Iterator[tuple[int, int, bytes]]:
    """Yield rows, geometries, and these one behind the other, of a large layer of points piece by piece, in order.

    SQLite puts them together, which costs less than an object for each and lets other threads run. It finds them in the
    order of their feature ids; in any other they would be told as not the ones given.
    """
    asked = (
        "SELECT ifnull(sum(1), 0), ifnull(sum(typeof(geom) = 'blob'), 0), ifnull(group_concat(geom, ''), '')"
        f" FROM {quoted(layer.name)} WHERE fid > ? AND fid <= ?"
    )

    def read(ends: tuple[int, int]) -> tuple[int, int, bytes]:
        with closing(unlocked(path)) as file:
            file.nothing_computed()
            file.text_factory = bytes  # what is put together counts as text
            many, blobs, packed = file.execute(asked, ends).fetchone()
            return many, blobs, packed

    least, most = -(1 << 63), (1 << 63) - 1  # whatever a row's number is: the count tells of the one that has ``least``
    ends = [least, *range(_TOGETHER, layer.rows, _TOGETHER), most]
    with ThreadPoolExecutor(_BESIDE) as beside:
        waiting = deque[Future[tuple[int, int, bytes]]]()
        for piece in pairwise(ends):
            waiting.append(beside.submit(read, piece))
            if len(waiting) > _BESIDE:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _whole(file: Guarded, layer: Written) -> Sequence[bytes | None]:
    """Return the geometries of a layer all of whose rows hold the values given; ValueError where one does not."""
    (count,) = file.execute(f"SELECT ifnull(sum(1), 0) FROM {quoted(layer.name)}").fetchone()
    if count != layer.rows:
        raise ValueError(f"it has {counted(count, 'row')}, given were {layer.rows}")
    values, shapes = stored_rows(file, layer.name)
    _compare([values], layer, layer.sums)
    return shapes


def _compare(batches: Iterable[pa.RecordBatch], layer: Written, given: Mapping[str, str]) -> None:
    """Raise ValueError where rows have other columns than a layer, or these other sums than those given."""
    content: Content | None = None
    for values in batches:
        columns = tuple(name for name in values.schema.names if name != GEOMETRY)
        if columns != layer.columns:
            raise ValueError(f"its columns are {columns}, given were {layer.columns}")
        content = content or Content({field.name: field.type for field in values.schema})
        content.add(values)
    sums = content.sums() if content else {}
    if differing := [name for name in layer.columns if sums and sums[name] != given[name]]:
        raise ValueError(f"its {', '.join(differing)} are not those given")


def _row_apart(file: Guarded, layer: Written) -> str:
    """Say which is the first row with another geometry, of a layer whose rows were all kept."""
    if len(layer.sampled) != layer.rows:
        return ""
    shapes = stored_rows(file, layer.name)[0].column(GEOMETRY)
    for row, (shape, given) in enumerate(zip(shapes, layer.vertices, strict=True), 1):
        one = pa.array([shape.as_py()], pa.binary()).drop_null()
        found = unpacked(layer.geometry_type, one).vertices if len(one) else np.full(given.shape, np.nan)
        if not np.array_equal(found, given, equal_nan=True):
            return f": row {row} is at {found.tolist()}, given was {given.tolist()}"
    return ""


def _summaries(file: Guarded, layer: Written) -> Iterator[str]:
    """Yield what its tables say of a layer in sum, and is wrong: entries of its index, rows, extent."""
    index = quoted(f"rtree_{layer.name}_geom_rowid")
    (indexed,) = file.execute(f"SELECT count(*) FROM {index}").fetchone()
    if indexed != layer.geometries:
        yield f"its spatial index has {counted(indexed, 'entry', 'entries')}, given were {layer.geometries}"
    (said,) = file.execute("SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = ?", (layer.name,)).fetchone()
    if said != layer.rows:
        yield f"it says {counted(said, 'row')}, given were {layer.rows}"
    query = "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = ?"
    extent = np.array(file.execute(query, (layer.name,)).fetchone(), np.float64)
    given = np.array([*layer.low[:2], *layer.high[:2]])
    if not alike(extent, given):
        yield f"its extent is {extent.tolist()}, given was {given.tolist()}"


def _pieces(file: Guarded, table: str) -> Iterator[list[bytes | None]]:
    cursor = file.cursor()
    cursor.row_factory = lambda _, row: row[0]
    cursor.execute(f"SELECT geom FROM {table} ORDER BY fid")
    while piece := cursor.fetchmany(_PIECE):
        yield piece


def _unpack(blobs: list[bytes], geometry_type: str) -> tuple[set[int], Shapes]:
    """Return the srs_ids in the blobs' headers and the WKB behind them; ValueError where they are not all alike."""
    if not blobs:
        return set(), unpacked(geometry_type, pa.array([], pa.binary()))
    if geometry_type != LINE_Z:
        return _unpack_points(b"".join(blobs), len(blobs))
    begin = HEADER_BYTES + ENVELOPE_BYTES.get(blobs[0][3] >> 1 & 7, 0)
    heads = np.frombuffer(b"".join(blob[:HEADER_BYTES] for blob in blobs), np.dtype(_HEAD))
    shapes = unpacked(geometry_type, pa.array([blob[begin:] for blob in blobs], pa.binary()))
    return _srs_ids(heads), shapes


def _unpack_points(packed: bytes, count: int) -> tuple[set[int], Shapes]:
    """Return what `_unpack` does of ``count`` points one behind the other."""
    flags = packed[3] if len(packed) > 3 else 0
    envelope = ENVELOPE_BYTES.get(flags >> 1 & 7, 0)
    layout = np.dtype([*_HEAD, *([("env", f"V{envelope}")] if envelope else []), ("wkb", WKB_POINT_Z)])
    if len(packed) != count * layout.itemsize:
        raise ValueError("its geometries are not all of one type and size")
    heads = np.frombuffer(packed, layout)
    wkb = heads["wkb"]
    shapes = Shapes(memoryview(wkb.tobytes()), wkb["xyz"][:, 0], np.ones(count, np.int64))
    return _srs_ids(heads), shapes


def _srs_ids(heads: npt.NDArray[Any]) -> set[int]:
    """Return the srs_ids in the heads of geometries; ValueError where these are not all of one kind."""
    flags = heads["flags"]
    if (heads["magic"] != b"GP").any() or (flags != flags[:1]).any() or not (flags & 1).all():
        raise ValueError("its geometries are not all little-endian GeoPackage geometries of one kind")
    return set(np.unique(heads["srs_id"]).tolist())
