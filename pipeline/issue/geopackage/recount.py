"""The content of a GeoPackage that is already there, summed again, without a trace left in it or beside it."""

import sqlite3
import warnings
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import Any

import pyarrow as pa
from msgspec import Struct

from pipeline.digest import digest
from pipeline.files.gdal import NOTHING_BESIDE, gdal, gdal_options
from pipeline.files.geopackages import for_gdal
from pipeline.files.guarded_database import failure_message
from pipeline.files.plain_path import plain_file
from pipeline.files.unlocked_database import as_seen, logs_of, quoted, unlocked
from pipeline.issue.geopackage.content_sums import Content, together
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.package_database import only_touched
from pipeline.issue.record_types import FileIssued
from pipeline.words import counted


class NotReadable(Exception):
    """A GeoPackage cannot be read to its end; the message says why."""


class LayerContent(Struct, frozen=True):
    """One layer as it is found: its rows and the sums of its columns (see `content_sums`)."""

    name: str
    rows: int
    sums: dict[str, str]

    @property
    def content(self) -> str:
        """Return the sum of all columns together."""
        return together(self.sums)


def recount_package(package: Path) -> list[LayerContent]:
    """Read every layer of a GeoPackage in batches and sum its columns.

    Changes of another program that still wait in a log beside the file count as made: the two are read in a copy.

    Raises NotReadable where it is no GeoPackage, or is damaged, and OSError where it is not there.
    """
    package.stat()
    try:
        with as_seen(package) as path:
            with closing(unlocked(path)) as file:
                if not for_gdal(file):
                    raise NotReadable("it has views or virtual tables, which no issue has")
                names = [str(name) for (name,) in file.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid")]
                counts = [_count(file, name) for name in names]
            layers = [_layer(path, name) for name in names]
    except sqlite3.DatabaseError as error:
        raise NotReadable(f"SQLite cannot read it: {failure_message(error)}") from error
    for layer, count in zip(layers, counts, strict=True):
        if layer.rows != count:  # GDAL ends a layer at a damaged page and says nothing
            ends = f"layer {layer.name} ends after {layer.rows} of {counted(count, 'row')}"
            raise NotReadable(f"{ends}: the file is damaged")
    return layers


def has_issued_content(package: Path, files: Iterable[FileIssued]) -> bool:
    """Say whether a GeoPackage holds what an issue record's ``files`` say, whatever opening it touched of its bytes.

    Of an earlier version's record every layer is compared with it; no more is known of those.
    """
    entry = _entry(package, files)
    if entry is not None and "database" in entry:
        return only_touched(package, entry)
    layers = entry.get("layers", []) if entry is not None else []
    try:
        given = [(layer["name"], layer["rows"], layer["content"]) for layer in layers]
        return bool(given) and given == [(layer.name, layer.rows, layer.content) for layer in recount_package(package)]
    except (OSError, NotReadable):
        return False


def has_issued_bytes(package: Path, files: Iterable[FileIssued]) -> bool:
    """Say whether a GeoPackage is byte for byte what a record's ``files`` say, with nothing waiting beside it."""
    entry = _entry(package, files)
    try:
        return entry is not None and digest(package) == entry["sha256"] and not logs_of(package)
    except OSError:
        return False


def _entry(package: Path, files: Iterable[FileIssued]) -> FileIssued | None:
    return next((entry for entry in files if entry["name"] == package.name), None)


def _count(file: sqlite3.Connection, name: str) -> int:
    return int(file.execute(f"SELECT ifnull(sum(1), 0) FROM {quoted(name)}").fetchone()[0])  # see `read.stored`


def _layer(path: Path, name: str) -> LayerContent:
    pyogrio = gdal()

    try:
        with (
            warnings.catch_warnings(action="ignore"),  # of an altered version of the format: said by who compares
            gdal_options(NOTHING_BESIDE),
            plain_file(path) as plain,
            pyogrio.open_arrow(plain, layer=name, use_pyarrow=True, IMMUTABLE="YES") as (about, reader),
        ):
            shape = about["geometry_name"] or GEOMETRY
            kinds = {field.name: _stored(field.type) for field in reader.schema}
            content = Content(kinds)
            while (batch := next(reader, None)) is not None:
                content.add(batch)
    except OSError:
        raise
    except Exception as error:  # of a damaged file the library makes whatever the damage is: no names, odd types
        raise NotReadable(f"layer {name} cannot be read: {error}") from error
    sums = {GEOMETRY if column == shape else column: known for column, known in content.sums().items()}
    return LayerContent(name, content.rows, sums)


def _stored(kind: Any) -> Any:
    return kind.storage_type if isinstance(kind, pa.ExtensionType) else kind
