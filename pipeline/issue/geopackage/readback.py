"""A written GeoPackage read again by other means than it was written with, before it counts.

fiona opens every layer with a GDAL and a PROJ of its own; the geometries of all rows are read once more as the bytes
that SQLite holds. Nothing here touches the file or leaves one beside it.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.arrays import Floats
from pipeline.files.at_rest import quoted, unlocked
from pipeline.files.gdal import fiona_at_home
from pipeline.files.plain_path import plain_file
from pipeline.geodesy.crs import parse
from pipeline.geodesy.errors import OperationError
from pipeline.issue.geopackage.tally import Geometries, Written, wkb_type
from pipeline.words import counted

#: Metres. A GeoPackage keeps doubles as they are; its extent passes through text.
TOLERANCE = 1e-6

_PIECE = 2000
# Bits 1 to 3 of a GeoPackage geometry's flags say what envelope precedes the WKB (OGC 12-128r19, clause 2.1.3).
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}


class ReadBackError(Exception):
    """What was read from a written file is not what was given to be written; ``differences`` says each."""

    def __init__(self, path: Path, differences: Iterable[str]) -> None:
        self.path = path
        self.differences = tuple(differences)
        super().__init__(f"{path.name} does not hold what was written: " + "; ".join(self.differences))


def read_back(path: Path, expected: Iterable[Written]) -> None:
    """Compare every layer of the GeoPackage at ``path`` with what was given to be written.

    Layers, columns, rows, CRS, extent and coordinates (every row up to `tally.KEPT` rows, else about `tally.SAMPLED`
    spread evenly, the first and the last) through fiona; count, range and checksum of all geometries through SQLite.

    Raises ReadBackError with everything that differs, or OSError where the file is not there or cannot be opened.
    """
    layers = tuple(expected)
    path.stat()
    with plain_file(path) as plain:
        differences = _by_fiona(plain, layers)
    try:
        with closing(unlocked(path)) as file:
            for layer in layers:
                differences += [f"layer {layer.name}: {what}" for what in _by_sqlite(file, layer)]
    except sqlite3.DatabaseError as error:
        differences.append(f"SQLite cannot read it: {error}")
    if differences:
        raise ReadBackError(path, differences)


def _by_fiona(path: Path, layers: tuple[Written, ...]) -> list[str]:
    given = [layer.name for layer in layers]
    differences: list[str] = []
    with fiona_at_home() as fiona:
        from fiona.errors import FionaError

        try:
            names = fiona.listlayers(path, IMMUTABLE="YES")
            if names != given:
                return [f"its layers are {names}, given were {given}"]
            for layer in layers:
                with fiona.open(path, driver="GPKG", layer=layer.name, IMMUTABLE="YES") as source:
                    for what in _layer_by_fiona(source, layer):
                        differences.append(f"layer {layer.name}: {what}")
        except FionaError as error:
            differences.append(f"fiona cannot read it: {error}")
    return differences


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
        if not np.allclose(extent, given, rtol=0, atol=TOLERANCE):
            yield f"its extent is {extent.ravel().tolist()}, given was {given.ravel().tolist()}"
    yield from _rows_by_fiona(source, layer)


def _says_the_same(read: str, given: str) -> bool:
    try:
        return bool(parse(read).equals(parse(given)))
    except OperationError:
        return False


def _rows_by_fiona(source: Any, layer: Written) -> Iterator[str]:
    for row, given in zip(layer.sampled.tolist(), layer.vertices, strict=True):
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


def _by_sqlite(file: sqlite3.Connection, layer: Written) -> Iterator[str]:
    table = quoted(layer.name)
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
    for piece in _pieces(file, table):
        rows += len(piece)
        present = [blob for blob in piece if blob is not None]
        try:
            headers, wkb = _unpack(present, wkb_type(layer.geometry_type))
        except ValueError as error:
            yield str(error)
            return
        srs_ids |= headers
        found.add(wkb)
    if len(srs_ids) != 1:
        yield f"its tables and geometries bear different srs_ids {sorted(srs_ids)}"
    if (rows, found.count) != (layer.rows, layer.geometries):
        yield f"it has {rows} and {found.count} as rows and geometries, given were {layer.rows} and {layer.geometries}"
    if not np.array_equal([found.low, found.high], [layer.low, layer.high], equal_nan=True):
        yield f"its geometries range from {found.low} to {found.high}, given was {layer.low} to {layer.high}"
    if found.checksum != layer.checksum:
        yield "a geometry is not the one given"
    index = quoted(f"rtree_{layer.name}_geom_rowid")
    (indexed,) = file.execute(f"SELECT count(*) FROM {index}").fetchone()
    if indexed != layer.geometries:
        yield f"its spatial index has {counted(indexed, 'entry', 'entries')}, given were {layer.geometries}"


def _pieces(file: sqlite3.Connection, table: str) -> Iterator[list[bytes | None]]:
    cursor = file.cursor()
    cursor.row_factory = lambda _, row: row[0]
    cursor.execute(f"SELECT geom FROM {table} ORDER BY fid")
    while piece := cursor.fetchmany(_PIECE):
        yield piece


def _unpack(blobs: list[bytes], kind: np.dtype[Any]) -> tuple[set[int], npt.NDArray[Any]]:
    """Return the srs_ids in the blobs' headers and the WKB behind them; ValueError where they are not all alike."""
    if not blobs:
        return set(), np.empty(0, kind)
    envelope = _ENVELOPE_BYTES.get(blobs[0][3] >> 1 & 7, 0)
    layout = np.dtype(
        [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs_id", "<i4"), ("env", f"V{envelope}"), ("wkb", kind)]
        if envelope
        else [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs_id", "<i4"), ("wkb", kind)]
    )
    packed = b"".join(blobs)
    if len(packed) != len(blobs) * layout.itemsize:
        raise ValueError("its geometries are not all of one type and size")
    rows = np.frombuffer(packed, layout)
    if (rows["magic"] != b"GP").any() or (rows["flags"] != blobs[0][3]).any() or not blobs[0][3] & 1:
        raise ValueError("its geometries are not all little-endian GeoPackage geometries of one kind")
    return set(np.unique(rows["srs_id"]).tolist()), rows["wkb"]
