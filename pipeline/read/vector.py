"""GeoJSON and GeoPackage as batches of columns, read without touching the file."""

import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.read.delimited import trimmed
from pipeline.read.elements import count_elements
from pipeline.read.findings import Unusable
from pipeline.read.points import points_of
from pipeline.read.raw import Raw
from pipeline.read.times import rounded
from pipeline.tables import TIME

#: How each format is opened: dates as they are written, and no lock, log or header of ours in the file.
_OPTIONS = {
    ".geojson": {"DATE_AS_STRING": "YES", "ARRAY_AS_STRING": "YES"},
    ".json": {"DATE_AS_STRING": "YES", "ARRAY_AS_STRING": "YES"},
    ".gpkg": {"IMMUTABLE": "YES"},
}


@dataclass(frozen=True)
class Layer:
    """A vector layer that is open: its columns as delivered, its CRS as "EPSG:n" where it has a code, its batches."""

    schema: pa.Schema
    crs: str | None
    spatial: bool
    batches: Iterator[Raw]


def layers_of(path: Path) -> list[str]:
    """Return the names of a GeoPackage's layers and attribute tables.

    Raises `Unusable` where it is no GeoPackage, is broken, or has changes that are not in the file itself yet.
    """
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.is_file() and beside.stat().st_size:
            raise Unusable(0, f"another program has changes to it in {beside.name}", "close it there, then run again")
    sql = "SELECT table_name FROM gpkg_contents WHERE data_type IN ('features', 'attributes') ORDER BY table_name"
    return [str(name) for (name,) in _select(path, sql)]


def _select(path: Path, sql: str) -> list[tuple[Any, ...]]:
    """Ask a GeoPackage without a lock, a log or a change. Raises `Unusable`."""
    try:
        connection = sqlite3.connect(path.resolve().as_uri() + "?mode=ro&immutable=1", uri=True)
        try:
            return connection.execute(sql).fetchall()
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise Unusable(0, f"the GeoPackage cannot be read: {error}") from error


def _count(path: Path, layer: str) -> int:
    """Count a layer's rows past the library, which ends a layer early and says nothing where a page is damaged."""
    ((count,),) = _select(path, 'SELECT count(*) FROM "{}"'.format(layer.replace('"', '""')))
    return int(count)


@contextmanager
def open_layer(path: Path, layer: str | None, rows_per_batch: int) -> Iterator[Layer]:
    """Open a layer (a GeoJSON file has one) to read it once.

    Raises `Unusable` where the file or layer cannot be read, also while its batches are.
    """
    ending = path.suffix.lower()
    is_package = ending == ".gpkg"
    count = _count(path, layer) if is_package and layer is not None else None
    import pyogrio  # here and not above: text exports do without it, and it takes long to load

    with ExitStack() as stack:
        stack.enter_context(_nothing_beside(pyogrio))
        with _errors(pyogrio):
            about, reader = stack.enter_context(
                pyogrio.open_arrow(
                    path,
                    layer=layer,
                    batch_size=rows_per_batch,
                    return_fids=is_package,
                    use_pyarrow=True,
                    **_OPTIONS[ending],
                )
            )
        parts = _Parts.of(reader.schema, is_package)
        if not is_package and any(pa.types.is_temporal(field.type) for field in reader.schema):
            raise Unusable(1, "the file is JSON of another kind, not GeoJSON", "export it as GeoJSON (RFC 7946)")
        yield Layer(
            parts.delivered(), about["crs"], parts.geometry is not None, _batches(reader, parts, count, path, pyogrio)
        )


@contextmanager
def _nothing_beside(pyogrio: ModuleType) -> Iterator[None]:
    """Keep GDAL from copying a file's metadata to an .aux.xml beside it. The option belongs to the whole process."""
    before = pyogrio.get_gdal_config_option("GDAL_PAM_ENABLED")
    pyogrio.set_gdal_config_options({"GDAL_PAM_ENABLED": "NO"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"GDAL_PAM_ENABLED": before})


@dataclass(frozen=True)
class _Parts:
    """Where the feature number, the geometry and the attributes stand in the stream's batches."""

    schema: pa.Schema
    fid: int | None
    geometry: int | None

    @classmethod
    def of(cls, schema: pa.Schema, has_fids: bool) -> "_Parts":
        geometries = [place for place, field in enumerate(schema) if _is_geometry(field)]
        return cls(schema, 0 if has_fids else None, geometries[-1] if geometries else None)

    @property
    def attributes(self) -> list[int]:
        return [place for place in range(len(self.schema)) if place not in (self.fid, self.geometry)]

    def delivered(self) -> pa.Schema:
        fields = [self.schema.field(place) for place in self.attributes]
        return pa.schema([(field.name, _delivered(field.type)) for field in fields])


def _is_geometry(field: pa.Field) -> bool:
    named = (field.metadata or {}).get(b"ARROW:extension:name", b"").decode()
    return (named or getattr(field.type, "extension_name", "")) in ("geoarrow.wkb", "ogc.wkb")


def _batches(reader: Any, parts: _Parts, count: int | None, path: Path, pyogrio: ModuleType) -> Iterator[Raw]:
    done = 0
    while True:
        with _errors(pyogrio):
            batch = next(reader, None)
        if batch is None:
            break
        rows = batch.num_rows
        if parts.fid is None:
            row = np.arange(done + 1, done + rows + 1, dtype=np.int64)
        else:
            row = batch.column(parts.fid).to_numpy(zero_copy_only=False).astype(np.int64)
        geometry = None if parts.geometry is None else points_of(_storage(batch.column(parts.geometry)))
        columns = {parts.schema.field(place).name: _deliver(batch.column(place)) for place in parts.attributes}
        yield Raw(columns, row, geometry=geometry)
        done += rows
    if count is not None and done != count:
        raise Unusable(0, f"the file cannot be read: it ends after {done} of {count} rows; it is damaged")
    listed = count_elements(path) if parts.fid is None else None
    if listed is not None and listed != done:
        what = f"its list of features has {listed} elements, and only {done} of them are features"
        raise Unusable(1, what, "export it again, or take out what is no Feature (null, numbers, bare geometries)")


@contextmanager
def _errors(pyogrio: ModuleType) -> Iterator[None]:
    """Turn what the library says about the file into `Unusable`, with the line where it names one."""
    try:
        yield
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pa.ArrowException, OSError) as error:
        says = " ".join(str(error).split("; It might help")[0].split())
        line = re.search(r"At line (\d+)", says)
        raise Unusable(int(line[1]) if line else 0, f"the file cannot be read: {says}") from error


def _storage(column: pa.Array) -> pa.Array:
    return column.storage if isinstance(column, pa.ExtensionArray) else column


def _delivered(kind: pa.DataType) -> pa.DataType:
    """Return the type in which a column of this type leaves here: plain numbers, dates, times, else text."""
    if isinstance(kind, pa.ExtensionType):
        kind = kind.storage_type
    if pa.types.is_boolean(kind) or pa.types.is_integer(kind) or pa.types.is_floating(kind):
        return kind
    if pa.types.is_date32(kind):
        return kind
    return TIME if pa.types.is_timestamp(kind) else pa.string()


def _deliver(column: pa.Array) -> pa.Array:
    column = _storage(column)
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    wanted = _delivered(column.type)
    if pa.types.is_string(column.type):
        return trimmed(column)
    if wanted == column.type:
        return column
    if pa.types.is_timestamp(column.type):  # a GeoPackage's date-times are UTC by its standard
        return rounded(column)
    if pa.types.is_binary(column.type) or pa.types.is_large_binary(column.type):
        return pa.array([None if value is None else value.hex() for value in column.to_pylist()], pa.string())
    if pa.types.is_nested(column.type):
        return pa.array([None if value is None else json.dumps(value) for value in column.to_pylist()], pa.string())
    return column.cast(pa.string())
