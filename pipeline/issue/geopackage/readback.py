"""A written GeoPackage read again by other means than it was written with, before it counts.

fiona, a GDAL and a PROJ of its own, opens it: where it has not yet seen what the file says of its layers, two of those
that are alike in that, and all that are like no other; else the one with most rows. Each opening costs as much as
writing a small job, and more with every layer that there is. All rows are read once more as SQLite holds them. Nothing
here touches the file or leaves one beside it.
"""

import hashlib
import sqlite3
from collections import OrderedDict, deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.files.gdal import fiona_at_home
from pipeline.files.geopackages import ENVELOPE_BYTES
from pipeline.files.guarded_database import Guarded
from pipeline.files.plain_path import plain_file
from pipeline.files.unlocked_database import quoted, unlocked
from pipeline.geodesy.crs import parse
from pipeline.geodesy.errors import OperationError
from pipeline.issue.geopackage.content_sums import Content
from pipeline.issue.geopackage.layer_copies import without_name
from pipeline.issue.geopackage.layers import GEOMETRY, LINE_Z, WKB_POINT_Z
from pipeline.issue.geopackage.package_database import database_of
from pipeline.issue.geopackage.stored_rows import HEADER_BYTES, stored_rows
from pipeline.issue.geopackage.styles import STYLES
from pipeline.issue.geopackage.written_counts import KEPT, Geometries, Shapes, Written, unpacked
from pipeline.issue.record_types import DatabaseIssued
from pipeline.words import counted

#: Metres. A GeoPackage keeps doubles as they are; its extent passes through text.
TOLERANCE = 1e-6

_PIECE = 2000
#: Points of a large layer whose geometries SQLite puts together at a time, in how many threads.
_TOGETHER, _BESIDE = 1 << 15, 2
#: Rows of a layer that fiona reads where SQLite has been asked for all.
_ROWS_BY_FIONA = 16

#: The beginning of a geometry as a GeoPackage keeps it (OGC 12-128r19, clause 2.1.3).
_HEAD = [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs_id", "<i4")]

#: What fiona has seen every layer of, in this process (see `_sight`), and how much of that is kept.
_seen: OrderedDict[str, None] = OrderedDict()
_SIGHTS = 256
#: Tables that follow from the rows, the day and the words of an issue; GDAL takes no layer from them.
_OF_ROWS = {
    "gpkg_contents", "gpkg_ogr_contents", "gpkg_metadata", "gpkg_metadata_reference", "sqlite_sequence", STYLES,
}  # fmt: skip

#: What the tables of the standard say of a layer, its name first.
_SAY = {
    "gpkg_contents": "table_name, data_type, srs_id",
    "gpkg_geometry_columns": "*",
    "gpkg_extensions": "*",
    "gpkg_data_columns": "*",
}


class ReadBackError(Exception):
    """What was read from a written file is not what was given to be written; ``differences`` says each."""

    def __init__(self, path: Path, differences: Iterable[str]) -> None:
        self.path = path
        self.differences = tuple(differences)
        super().__init__(f"{path.name} does not hold what was written: " + "; ".join(self.differences))


def load_reader() -> None:
    """Load what `read_back` reads with, a tenth of a second, while something else is waited for."""
    with fiona_at_home():
        pass


def read_back(path: Path, expected: Iterable[Written]) -> DatabaseIssued:
    """Compare every layer of the GeoPackage at ``path`` with what was given to be written.

    Every value of layers up to `written_counts.KEPT` rows, else count, range and checksum of all geometries, by SQLite.
    Layers, columns, kinds and CRS, rows, extent, and coordinates of some rows spread evenly, the first and the last,
    through fiona.

    Returns what the file is made of beside the rows. Raises ReadBackError with everything that differs, or OSError
    where the file is not there or cannot be opened.
    """
    layers = tuple(expected)
    path.stat()
    try:
        with closing(unlocked(path)) as file:
            file.nothing_computed()  # it was written just now, and by us
            database = database_of(path, file, [layer.name for layer in layers])
            sight = _sight(file, database, layers)
            anew = sight not in _seen or not layers
            chosen = _unlike(file, layers) if anew else [max(layers, key=lambda layer: layer.rows)]
            differences = _by_sqlite(path, file, layers)
    except sqlite3.DatabaseError as error:
        raise ReadBackError(path, [f"SQLite cannot read it: {error}"]) from error
    with plain_file(path) as plain:
        differences += _by_fiona(plain, layers, chosen, anew=anew)
    if differences:
        raise ReadBackError(path, differences)
    _seen[sight] = None
    while len(_seen) > _SIGHTS:
        _seen.popitem(last=False)
    return database


def _sight(file: Guarded, database: DatabaseIssued, layers: tuple[Written, ...]) -> str:
    """Return a sum of all that GDAL takes the layers' columns, kinds and CRS from, and of what these must be."""
    said = file.execute("SELECT table_name, data_type, srs_id FROM gpkg_contents ORDER BY rowid").fetchall()
    tables = {name: rows for name, rows in database["tables"].items() if name not in _OF_ROWS}
    must = [(layer.name, layer.geometry_type, layer.crs, layer.columns) for layer in layers]
    fields = [bytes.fromhex(database["header"])[field] for field in (slice(56, 60), slice(60, 64), slice(68, 72))]
    return hashlib.sha256(repr([said, tables, database["objects"], fields, must]).encode()).hexdigest()


def _unlike(file: Guarded, layers: tuple[Written, ...]) -> list[Written]:
    """Return the layers that differ, but for their names, in definitions, columns, kind and CRS, or what these must be.

    Of layers that are alike in all that: the one with most rows, and the last.
    """
    defined = dict(file.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall())
    at_work: dict[str, list[str]] = {layer.name: [] for layer in layers}
    for name, sql in file.execute("SELECT tbl_name, sql FROM sqlite_master WHERE type = 'trigger' ORDER BY name"):
        at_work.setdefault(name, []).append(sql)
    said: dict[str | None, list[tuple[object, ...]]] = {layer.name: [] for layer in layers}
    for table in _SAY.keys() & defined.keys():
        for name, *rest in file.execute(f"SELECT {_SAY[table]} FROM {table} ORDER BY rowid"):
            said.setdefault(name, []).append((table, *rest))
    kinds = dict[str, list[Written]]()
    for layer in layers:
        own = [defined.get(name, "").replace(quoted(name), "", 1) for name in (layer.name, f"rtree_{layer.name}_geom")]
        own += sorted(without_name(layer.name, at_work[layer.name]))
        kind = (own, sorted(said[layer.name], key=repr), layer.geometry_type, layer.crs, layer.columns)
        kinds.setdefault(repr(kind), []).append(layer)
    chosen = {one.name for alike in kinds.values() for one in (max(alike, key=lambda one: one.rows), alike[-1])}
    return [layer for layer in layers if layer.name in chosen]


def _by_fiona(path: Path, layers: tuple[Written, ...], chosen: Sequence[Written], *, anew: bool) -> list[str]:
    """Return what differs in the ``chosen`` layers and, in a kind of file that is seen ``anew``, in the list of all."""
    given = [layer.name for layer in layers]
    differences: list[str] = []
    with fiona_at_home() as fiona:
        from fiona.errors import FionaError

        try:
            if anew and (names := _listed(fiona, path)) != given:
                return [f"its layers are {names}, given were {given}"]
            for layer in chosen:
                with fiona.open(path, driver="GPKG", layer=layer.name, IMMUTABLE="YES") as source:
                    for what in _layer_by_fiona(source, layer):
                        differences.append(f"layer {layer.name}: {what}")
        except FionaError as error:
            differences.append(f"fiona cannot read it: {error}")
    return differences


def _listed(fiona: Any, path: Path) -> list[str]:
    """Return the layers, without the table of their styles, which GDAL lists as a layer without geometries."""
    return [name for name in fiona.listlayers(path, IMMUTABLE="YES") if name != STYLES]


def _layer_by_fiona(source: Any, layer: Written) -> Iterator[str]:
    from fiona.crs import CRS

    columns = tuple(source.schema["properties"])
    if columns != layer.columns:
        yield f"its columns are {columns}, given were {layer.columns}"
    if source.schema["geometry"] != f"3D {layer.geometry_type.removesuffix(' Z')}":
        yield f"its geometry type is {source.schema['geometry']}, given was {layer.geometry_type}"
    # fiona looks for codes before it compares, half a second where there are none: it has the last word alone
    if not _says_the_same(source.crs_wkt, layer.crs) and source.crs != CRS.from_user_input(layer.crs):
        yield f"its CRS is {source.crs.to_string() or 'unknown'}, given was {layer.crs}"
    if len(source) != layer.rows:
        yield f"it says {counted(len(source), 'row')}, given were {layer.rows}"
        return
    if layer.geometries:
        extent = np.array(source.bounds).reshape(2, 2)
        given = np.array([layer.low[:2], layer.high[:2]])
        if not _alike(extent, given):
            yield f"its extent is {extent.ravel().tolist()}, given was {given.ravel().tolist()}"
    yield from _rows_by_fiona(source, layer)


def _says_the_same(read: str, given: str) -> bool:
    try:
        return bool(parse(read).equals(parse(given)))
    except OperationError:
        return False


def _rows_by_fiona(source: Any, layer: Written) -> Iterator[str]:
    there = len(layer.sampled)
    chosen = np.arange(there)
    if layer.rows <= KEPT:  # SQLite was asked for all of them
        chosen = np.unique(np.linspace(0, max(0, there - 1), _ROWS_BY_FIONA).astype(np.int64))[:there]
    for row, given in zip(layer.sampled[chosen].tolist(), layer.vertices[chosen], strict=True):
        try:
            feature = source[row + 1]  # the feature id, counted from 1 in the order of writing
        except IndexError:
            feature = None
        if feature is None:
            yield f"row {row + 1} is missing"
            return
        found = _vertices(feature.geometry, given.shape)
        if not _alike(found, given):
            yield f"row {row + 1} is at {found.tolist()}, given was {given.tolist()}"
            return


def _alike(found: Floats, given: Floats) -> bool:
    """Say whether vertices agree within the tolerance; no position agrees with none. One row costs microseconds."""
    if found.shape != given.shape:
        return False
    return bool(((np.abs(found - given) <= TOLERANCE) | (np.isnan(found) & np.isnan(given))).all())


def _vertices(geometry: Any, shape: tuple[int, ...]) -> Floats:
    if geometry is None:
        return np.full(shape, np.nan)
    found = np.asarray(geometry.coordinates, np.float64)
    return found.reshape(shape) if found.size == np.prod(shape) else found


def _by_sqlite(path: Path, file: Guarded, layers: tuple[Written, ...]) -> list[str]:
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
    if not _alike(extent, given):
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
