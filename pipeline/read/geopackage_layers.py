"""A GeoPackage's layer as batches of columns: through GDAL where that gives what is stored, else as SQLite gives it."""

import sqlite3
import warnings
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.digest import signature
from pipeline.files.gdal import gdal
from pipeline.files.geopackages import BrokenGeometry, describe, layer_names, opened, wkb_of
from pipeline.files.guarded_database import failure_message
from pipeline.files.plain_path import plain_file
from pipeline.files.unlocked_database import quoted
from pipeline.job.model import Points
from pipeline.limits import COLUMNS
from pipeline.read.delimited import trimmed
from pipeline.read.findings import Unusable, check_cells
from pipeline.read.geometry_points import points_of
from pipeline.read.mapping import mapped
from pipeline.read.mixed_columns import Faults, column_of, faults_of, stored_columns, without
from pipeline.read.raw_batch import Geometry, Raw
from pipeline.read.stored_types import Stored, look_at
from pipeline.read.times import rounded
from pipeline.words import counted

#: Rows taken from SQLite at once: they are objects of Python's for a while.
_ROWS = 16_384
#: Bytes of theirs beyond which it is fewer.
_BYTES = 1 << 26


@contextmanager
def _sqlite() -> Iterator[None]:
    """Turn what SQLite says about the file into `Unusable`."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError, MemoryError) as error:  # second: a damaged name
        raise Unusable(0, f"the GeoPackage cannot be read: {failure_message(error)}") from error


def layers_of(path: Path) -> list[str]:
    """Return the names of a GeoPackage's layers and attribute tables.

    Raises `Unusable` where it is no GeoPackage, is broken, or has changes that are not in the file itself yet.
    """
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.is_file() and beside.stat().st_size:
            raise Unusable(0, f"another program has unsaved changes in {beside.name}", "close it there, then run again")
    with _sqlite():
        package = opened(path)
        try:
            return layer_names(package)
        finally:
            package.close()


def columns_of(path: Path, layer: str) -> list[str]:
    """Return the names of a layer's attribute columns. Raises `Unusable`."""
    with _sqlite(), closing(opened(path)) as package:
        names = [column.name for column in describe(package, layer).columns]
    if len(names) > COLUMNS:
        what = f"the layer has {counted(len(names), 'column')}; the limit is {COLUMNS:,}"
        raise Unusable(0, what, "export it without the columns that are not needed")
    return names


def look_into(path: Path, layer: str, points: Points) -> Stored:
    """Look at a layer's columns and at what they hold. Raises `Unusable`."""
    at = signature(path)
    with _sqlite():
        found = look_at(path, layer, frozenset(mapped(points.columns).values()), at)
    check_cells(found.rows, len(found.layer.columns), at.size)
    return found


def batches(path: Path, points: Points, found: Stored, rows_per_batch: int) -> Generator[Raw, None, None]:
    """Give the rows of a layer in the order of their numbers, which count from 1 where the layer has none.

    Raises `Unusable` where the file is damaged.
    """
    done = 0
    for raw in (_by_gdal if found.plain else _as_stored)(path, points, found, rows_per_batch):
        done += len(raw.row)
        yield raw
    if done != found.rows:  # GDAL ends a layer early and says nothing where a page is damaged
        rows = counted(found.rows, "row")
        raise Unusable(0, f"the file cannot be read: it ends after {done} of {rows}; it is damaged")


def _as_stored(path: Path, points: Points, found: Stored, rows_per_batch: int) -> Iterator[Raw]:
    layer = found.layer
    names = [layer.key or "NULL", *(quoted(column.name) for column in layer.columns)]
    names += [quoted(layer.geometry)] if layer.geometry is not None else []
    order = f" ORDER BY {layer.key}" if layer.key else ""
    with _sqlite():
        package = opened(path)
        try:
            done = 0
            rows = package.execute(f"SELECT {', '.join(names)} FROM {quoted(layer.name)}{order}")
            for batch in _portions(rows, min(rows_per_batch, _ROWS)):
                numbers, *columns = zip(*batch, strict=True)
                row = np.array(numbers if layer.key else range(done + 1, done + len(batch) + 1), np.int64)
                yield _raw(row, columns, found, points)
                done += len(batch)
        finally:
            package.close()


def _portions(rows: Iterable[tuple[Any, ...]], most: int) -> Iterator[list[tuple[Any, ...]]]:
    """Yield rows some at a time: at most so many, and fewer where their values are large."""
    portion: list[tuple[Any, ...]] = []
    size = 0
    for row in rows:
        portion.append(row)
        size += sum([len(value) for value in row if isinstance(value, str | bytes)])
        if len(portion) == most or size > _BYTES:
            yield portion
            portion, size = [], 0
    if portion:
        yield portion


def _raw(row: Any, columns: Sequence[Sequence[object]], found: Stored, points: Points) -> Raw:
    """Put stored values together as a batch; a mapped value that is no text and no number spoils its row."""
    stored = ((field, _values(field, values)) for field, values in zip(found.schema, columns, strict=False))
    arrays, faults = stored_columns(stored, points, points.encoding)
    geometry = _geometry(columns[-1], found) if found.layer.geometry is not None else None
    return Raw(arrays, row, faults_of(len(row), faults), geometry)


def _values(field: pa.Field, stored: Sequence[object]) -> Sequence[object]:
    """Return the values of a column, truth values as such: SQLite has numbers for them."""
    if not pa.types.is_boolean(field.type):
        return stored
    return [None if value is None else value == 1 for value in stored]


def _geometry(stored: Sequence[object], found: Stored) -> Geometry:
    wkb: list[bytes | None] = []
    broken: list[str | None] = [None] * len(stored)
    for row, blob in enumerate(stored):
        try:
            wkb.append(wkb_of(blob, found.layer.srs_ids))
        except BrokenGeometry as error:
            wkb.append(None)
            broken[row] = str(error)
    return points_of(pa.array(wkb, pa.binary()), pa.array(broken, pa.string()) if any(broken) else None)


def _by_gdal(path: Path, points: Points, found: Stored, rows_per_batch: int) -> Iterator[Raw]:
    pyogrio = gdal()

    names, words = found.schema.names, {name: word for word, name in mapped(points.columns).items()}
    with (
        plain_file(path) as plain,
        _nothing_beside(pyogrio),
        _errors(pyogrio),
        _without_warnings(),
        pyogrio.open_arrow(
            plain,
            layer=found.layer.name,
            batch_size=rows_per_batch,
            return_fids=True,
            use_pyarrow=True,
            IMMUTABLE="YES",
        ) as (about, reader),
    ):
        place = {field.name: number for number, field in enumerate(reader.schema)}
        for batch in reader:
            row = batch.column(0).to_numpy(zero_copy_only=False).astype(np.int64)
            columns, faults = {}, []
            for name, kind in zip(names, found.types, strict=True):
                columns[name], wrong = _deliver(
                    batch.column(place[name]), kind, points, partial(_stored, path, found, name, row)
                )
                columns[name] = without(columns[name], wrong) if name in words else columns[name]
                faults.append((words.get(name, ""), wrong))
            at = place.get(about["geometry_name"] or "wkb_geometry")
            geometry = None if found.layer.geometry is None or at is None else points_of(_storage(batch.column(at)))
            yield Raw(columns, row, faults_of(len(row), [each for each in faults if each[0]]), geometry)


def _deliver(
    column: pa.Array, kind: pa.DataType, points: Points, stored: Callable[[], list[object]]
) -> tuple[pa.Array, Faults]:
    """Return a column as the reader has it, with its faults; ``stored`` reads what the file has of it."""
    column = _storage(column)
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if pa.types.is_timestamp(column.type):
        return rounded(column), {}
    if pa.types.is_binary(column.type) or pa.types.is_large_binary(column.type):
        return pa.array([None if value is None else value.hex() for value in column.to_pylist()], pa.string()), {}
    if not pa.types.is_string(column.type):
        return column.cast(kind), {}
    try:
        column.validate(full=True)
    except pa.ArrowInvalid:  # not UTF-8: these rows once more, as they are stored
        return column_of(stored(), kind, points.decimal or ".", points.encoding)
    return trimmed(column), {}


def _stored(path: Path, found: Stored, name: str, row: Any) -> list[object]:
    """Return the stored values of one column for the rows of a batch."""
    key = found.layer.key
    with _sqlite():
        package = opened(path)
        try:
            sql = f"SELECT {quoted(name)} FROM {quoted(found.layer.name)} WHERE {key} BETWEEN ? AND ? ORDER BY {key}"
            return [value for (value,) in package.execute(sql, (int(row[0]), int(row[-1])))]
        finally:
            package.close()


def _storage(column: pa.Array) -> pa.Array:
    return column.storage if isinstance(column, pa.ExtensionArray) else column


@contextmanager
def _nothing_beside(pyogrio: ModuleType) -> Iterator[None]:
    """Keep GDAL from copying a file's metadata to an .aux.xml beside it. The option belongs to the whole process."""
    before = pyogrio.get_gdal_config_option("GDAL_PAM_ENABLED")
    pyogrio.set_gdal_config_options({"GDAL_PAM_ENABLED": "NO"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"GDAL_PAM_ENABLED": before})


@contextmanager
def _without_warnings() -> Iterator[None]:
    """Keep the library from printing that it leaves measures (M) of points out, which nothing here reads."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Measured", category=UserWarning)
        yield


@contextmanager
def _errors(pyogrio: ModuleType) -> Iterator[None]:
    """Turn what the library says about the file into `Unusable`."""
    try:
        yield
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pa.ArrowException, OSError) as error:
        says = " ".join(str(error).split("; It might help")[0].split())
        raise Unusable(0, f"the file cannot be read: {says}") from error
