"""GeoPackages that have their layers and no rows yet, made by GDAL once for each kind and then copied.

Layers that are like another one are laid beside it in the copy (`layer_copies`).
"""

import sqlite3
import warnings
from collections import OrderedDict
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path

import pyarrow as pa
from msgspec import Struct, field

from pipeline.files.gdal import gdal
from pipeline.files.unlocked_database import quoted, unsynced
from pipeline.geodesy.axes import Axes
from pipeline.issue.geopackage.definitions import Trigger, redefine
from pipeline.issue.geopackage.descriptions import commented
from pipeline.issue.geopackage.layer_copies import lay_alike, table_of, triggers_of
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.write_errors import refusal
from pipeline.replace import replace

#: Kinds that a process keeps: some 300 kB each.
_KINDS_MAX = 16

#: How a layer's table defines its feature ids, with and without a counter of those ever given.
_COUNTED, _UNCOUNTED = " PRIMARY KEY AUTOINCREMENT", " PRIMARY KEY"


class Georeference(Struct, frozen=True):
    """What the coordinates of a GeoPackage are in.

    Args:
        crs: the target grid, by its code where it has one ("EPSG:2193"), else WKT.
        axes: what the columns are said to count in.
        metadata: what the file and every layer say besides: the height datum, the compound definition, the caution.
    """

    crs: str
    axes: Axes = Axes()  # in metres, counting to the east, north and upwards
    metadata: Mapping[str, str] = field(default_factory=dict)


class Blank(Struct, frozen=True):
    """Layers of a GeoPackage without rows: what SQLite is to run once they have rows, and their ``srs_id``.

    ``tables`` are their names and the definitions that they are to have then; ``more`` are the triggers of layers that
    are like another.
    """

    triggers: tuple[Trigger, ...]
    tables: tuple[tuple[str, str], ...]
    srs_id: int
    more: tuple[Trigger, ...] = ()


_made: OrderedDict[Hashable, tuple[Blank, bytes]] = OrderedDict()


def lay_blank(path: Path, layers: Sequence[LayerSource], within: Georeference) -> Blank:
    """Make a GeoPackage with ``layers`` at ``path``, without their rows and what works on every one.

    Nothing of it hangs on when it is made. Raises NotWritten where the disk refuses, TooLarge beyond a limit.
    """
    own = [layer for layer in layers if layer.like is None]
    blank = _copied(path, own, within)
    return _with_alike(path, [layer for layer in layers if layer.like is not None], blank)


def _copied(path: Path, layers: Sequence[LayerSource], within: Georeference) -> Blank:
    """Make a GeoPackage with ``layers``, once for all that have the same."""
    kinds = [(layer.name, layer.schema, layer.geometry_type, *_said(layer).values()) for layer in layers]
    key = (within.crs, within.axes, tuple(within.metadata.items()), tuple(kinds))
    if (made := _made.get(key)) is not None:
        _made.move_to_end(key)
        try:
            path.write_bytes(made[1])
        except OSError as error:
            raise refusal(path, "all", error) from error
        return made[0]
    for number, layer in enumerate(layers):
        make_layer(path, layer, within, [], first=number == 0, append=number > 0)
    blank = _bare(path, [layer.name for layer in layers])
    _made[key] = blank, path.read_bytes()
    while len(_made) > _KINDS_MAX:
        _made.popitem(last=False)
    return blank


def lay_more(path: Path, layers: Sequence[LayerSource], within: Georeference, *, anew: bool) -> Blank:
    """Make ``layers`` in a GeoPackage that is there, as `lay_blank` does; ``anew``: in place of those so named.

    Those that are like another layer are not there yet, ``anew`` or not.
    """
    own = [layer for layer in layers if layer.like is None]
    for layer in own:
        make_layer(path, layer, within, [], first=False, append=not anew)
    blank = _bare(path, [layer.name for layer in own])
    return _with_alike(path, [layer for layer in layers if layer.like is not None], blank)


def make_layer(
    path: Path, layer: LayerSource, within: Georeference, batches: object, *, first: bool, append: bool
) -> None:
    """Make a layer with the rows of ``batches`` by GDAL; without ``append`` it is made again in a file that is there.

    ``first`` makes the file. Raises NotWritten and TooLarge.
    """
    pyogrio = gdal()
    from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError

    try:
        with warnings.catch_warnings(action="ignore"):  # of what a full disk made of the file; what fails is raised
            pyogrio.write_arrow(
                pa.RecordBatchReader.from_batches(commented(layer.name, layer.schema, within.axes), batches),
                path,
                layer=layer.name,
                driver="GPKG",
                geometry_name=GEOMETRY,
                geometry_type=layer.geometry_type,
                crs=within.crs,
                append=append,
                dataset_metadata=dict(within.metadata) if first else None,
                layer_metadata=dict(within.metadata),
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
            triggers = [(name, table, sql) for kind, name, sql, table in found if kind == "trigger" and table in layers]
            tables = [(name, sql) for kind, name, sql, _ in found if kind == "table" and name in layers]
            file.execute("BEGIN")
            for name, _, _ in triggers:
                file.execute(f"DROP TRIGGER {quoted(name)}")
            redefine(file, [(name, _uncounted(sql)) for name, sql in tables])
            file.execute("COMMIT")
    except sqlite3.DatabaseError as error:
        raise refusal(path, "all", error) from error
    return Blank(tuple(triggers), tuple(tables), srs_id)


def _with_alike(path: Path, layers: Sequence[LayerSource], blank: Blank) -> Blank:
    """Lay the layers that are like another one: one of ``blank``, or one that is complete."""
    if not layers:
        return blank
    (model,) = {str(layer.like) for layer in layers}
    try:
        with unsynced(path) as file:
            table, triggers = _definitions(file, blank, model)
            file.execute("BEGIN")
            lay_alike(file, layers, model, _uncounted(table))
            file.execute("COMMIT")
    except sqlite3.DatabaseError as error:
        raise refusal(path, "all", error) from error
    return replace(
        blank,
        tables=(*blank.tables, *((layer.name, table_of(layer.name, model, table)) for layer in layers)),
        more=tuple(trigger for layer in layers for trigger in triggers_of(layer.name, model, triggers)),
    )


def _definitions(file: sqlite3.Connection, blank: Blank, model: str) -> tuple[str, list[Trigger]]:
    """Return the definitions of a complete layer, or as it is to be: its table's and its triggers'."""
    if model in (tables := dict(blank.tables)):
        return tables[model], [trigger for trigger in blank.triggers if trigger[1] == model]
    query = "SELECT name, tbl_name, sql FROM sqlite_master WHERE type = ? AND tbl_name = ? ORDER BY rowid"
    ((_, _, table),) = file.execute(query, ("table", model)).fetchall()
    return table, file.execute(query, ("trigger", model)).fetchall()


def _uncounted(sql: str) -> str:
    return sql.replace(_COUNTED, _UNCOUNTED, 1)
