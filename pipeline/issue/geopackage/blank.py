"""GeoPackages that have their layers and no rows yet, made by GDAL once for each kind and then copied."""

import sqlite3
from collections import OrderedDict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from pipeline.files.at_rest import quoted, unsynced
from pipeline.files.gdal import gdal
from pipeline.geodesy.axes import Axes
from pipeline.issue.geopackage.descriptions import commented
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.refused import refusal
from pipeline.issue.geopackage.source import LayerSource

#: Kinds that a process keeps: some 300 kB each, and more only with a layer per code.
_MOST = 16

#: How a layer's table defines its feature ids, with and without a counter of those ever given.
_COUNTED, _UNCOUNTED = " PRIMARY KEY AUTOINCREMENT", " PRIMARY KEY"


@dataclass(frozen=True)
class Blank:
    """Layers of a GeoPackage without rows: what SQLite is to run once they have rows, and their ``srs_id``.

    ``tables`` are their names and the definitions that they are to have then.
    """

    triggers: tuple[str, ...]
    tables: tuple[tuple[str, str], ...]
    srs_id: int


_made: OrderedDict[Hashable, tuple[Blank, bytes]] = OrderedDict()


def lay_blank(path: Path, layers: Sequence[LayerSource], crs: str, metadata: Mapping[str, str], axes: Axes) -> Blank:
    """Make a GeoPackage with ``layers`` at ``path``, without their rows and what works on every one.

    Nothing of it hangs on when it is made. Raises NotWritten where the disk refuses, TooLarge beyond a limit.
    """
    kinds = [(layer.name, layer.schema, layer.geometry_type, *_said(layer).values()) for layer in layers]
    key = (crs, axes, tuple(metadata.items()), tuple(kinds))
    if (made := _made.get(key)) is not None:
        _made.move_to_end(key)
        try:
            path.write_bytes(made[1])
        except OSError as error:
            raise refusal(path, "all", error) from error
        return made[0]
    for number, layer in enumerate(layers):
        make_layer(path, layer, crs, metadata, axes, [], first=number == 0, append=number > 0)
    blank = _bare(path, [layer.name for layer in layers])
    _made[key] = blank, path.read_bytes()
    while len(_made) > _MOST:
        _made.popitem(last=False)
    return blank


def lay_more(
    path: Path, layers: Sequence[LayerSource], crs: str, metadata: Mapping[str, str], axes: Axes, *, anew: bool
) -> Blank:
    """Make ``layers`` in a GeoPackage that is there, as `lay_blank` does; ``anew``: in place of those so named."""
    for layer in layers:
        make_layer(path, layer, crs, metadata, axes, [], first=False, append=not anew)
    return _bare(path, [layer.name for layer in layers])


def make_layer(
    path: Path,
    layer: LayerSource,
    crs: str,
    metadata: Mapping[str, str],
    axes: Axes,
    batches: object,
    *,
    first: bool,
    append: bool,
) -> None:
    """Make a layer with the rows of ``batches`` by GDAL; without ``append`` it is made anew in a file that is there.

    ``first`` makes the file. Raises NotWritten and TooLarge.
    """
    pyogrio = gdal()
    from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError

    try:
        pyogrio.write_arrow(
            pa.RecordBatchReader.from_batches(commented(layer.name, layer.schema, axes), batches),
            path,
            layer=layer.name,
            driver="GPKG",
            geometry_name=GEOMETRY,
            geometry_type=layer.geometry_type,
            crs=crs,
            append=append,
            dataset_metadata=dict(metadata) if first else None,
            layer_metadata=dict(metadata),
            layer_options=_said(layer),
        )
    except (DataSourceError, DataLayerError, FeatureError, GeometryError) as error:
        raise refusal(path, layer.name, error) from error


def _said(layer: LayerSource) -> dict[str, str]:
    return {"DESCRIPTION": layer.description, "IDENTIFIER": layer.identifier or layer.name}


def _bare(path: Path, layers: Sequence[str]) -> Blank:
    """Take out of the layers what would work on every row: their triggers, and the counter of their feature ids.

    An insertion takes a third longer with that counter, which `append.finish` sets once.
    """
    try:
        with unsynced(path) as file:
            ((srs_id,),) = file.execute("SELECT DISTINCT srs_id FROM gpkg_geometry_columns").fetchall()
            found = file.execute("SELECT type, name, sql, tbl_name FROM sqlite_master").fetchall()
            triggers = [(name, sql) for kind, name, sql, table in found if kind == "trigger" and table in layers]
            tables = [(name, sql) for kind, name, sql, _ in found if kind == "table" and name in layers]
            file.execute("BEGIN")
            for name, _ in triggers:
                file.execute(f"DROP TRIGGER {quoted(name)}")
            redefine(file, [(name, sql.replace(_COUNTED, _UNCOUNTED, 1)) for name, sql in tables])
            file.execute("COMMIT")
    except sqlite3.DatabaseError as error:
        raise refusal(path, "all", error) from error
    return Blank(tuple(sql for _, sql in triggers), tuple(tables), srs_id)


def redefine(file: sqlite3.Connection, tables: Sequence[tuple[str, str]]) -> None:
    """Change the definitions of tables, in a transaction, in what does not touch how their rows are kept.

    It is done as SQLite says (sqlite.org/lang_altertable.html, section 7): connections that are opened later go by it.
    """
    ((version,),) = file.execute("PRAGMA schema_version").fetchall()
    file.execute("PRAGMA writable_schema = ON")
    file.executemany("UPDATE sqlite_master SET sql = ?2 WHERE type = 'table' AND name = ?1", tables)
    file.execute(f"PRAGMA schema_version = {version + 1}")
    file.execute("PRAGMA writable_schema = OFF")
