"""A written GeoPackage read again by other means than it was written with, before it counts.

fiona, a GDAL and a PROJ of its own, opens it: where it has not yet seen what the file says of its layers, two of those
that are alike in that, and all that are like no other; else the one with most rows. Each opening costs as much as
writing a small job, and more with every layer that there is. All rows are read once more as SQLite holds them. Nothing
here touches the file or leaves one beside it.
"""

import hashlib
import sqlite3
from collections import OrderedDict
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from pipeline.files.gdal import fiona_at_home
from pipeline.files.guarded_database import Guarded
from pipeline.files.plain_path import plain_file
from pipeline.files.unlocked_database import quoted, unlocked
from pipeline.issue.geopackage.layer_copies import without_name
from pipeline.issue.geopackage.package_database import database_of
from pipeline.issue.geopackage.read_by_fiona import differences_by_fiona
from pipeline.issue.geopackage.read_by_sqlite import differences_by_sqlite
from pipeline.issue.geopackage.styles import STYLES
from pipeline.issue.geopackage.written_counts import Written
from pipeline.issue.record_types import DatabaseIssued

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
            differences = differences_by_sqlite(path, file, layers)
    except sqlite3.DatabaseError as error:
        raise ReadBackError(path, [f"SQLite cannot read it: {error}"]) from error
    with plain_file(path) as plain:
        differences += differences_by_fiona(plain, layers, chosen, anew=anew)
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
