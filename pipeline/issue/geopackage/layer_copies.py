"""Layers laid beside one that they are like, as GDAL lays them: by SQL, in a time that grows with their number alone.

GDAL opens the file anew for each layer, and takes the longer for it the more are there.
"""

import re
import sqlite3
from collections.abc import Sequence

from pipeline.files.unlocked_database import is_there, quoted
from pipeline.issue.geopackage.definitions import Trigger, changing_definitions
from pipeline.issue.geopackage.layer_source import LayerSource

#: Layers that are made before their definitions are set aside.
_PIECE = 32

#: How a trigger bears the layer's name: as an identifier, as a text, in the names of index and counters.
_FORMS = ('"{}"', "'{}'", '"rtree_{}_geom', '_feature_count_{}"')
#: Stands in definitions for the name of the layer that they are of; no layer is so called.
_ANY = "\0"

#: Columns of the standard's tables that say of a layer what they say of the one that it is like.
_SAID_ALIKE = {
    "gpkg_geometry_columns": ("column_name", "geometry_type_name", "srs_id", "z", "m"),
    "gpkg_extensions": ("column_name", "extension_name", "definition", "scope"),
    "gpkg_data_columns": ("column_name", "name", "title", "description", "mime_type", "constraint_name"),
}


def lay_alike(file: sqlite3.Connection, layers: Sequence[LayerSource], model: str, table: str) -> None:
    """Lay ``layers`` like the layer ``model``, which is there: without rows and triggers, in a transaction.

    ``table`` is the definition of the model's table, as theirs are to be.
    """
    _say(file, layers, model)
    _make(file, [layer.name for layer in layers], model, table)


def table_of(name: str, model: str, sql: str) -> str:
    """Return the definition of the model's table, or of its index, as it is for another one."""
    return sql.replace(quoted(model), quoted(name), 1)


def triggers_of(name: str, model: str, triggers: Sequence[Trigger]) -> list[Trigger]:
    """Return the triggers of a layer that is like one with these."""
    return [(_renamed(f'"{one}"', model, name)[1:-1], name, _renamed(sql, model, name)) for one, _, sql in triggers]


def without_name(name: str, triggers: Sequence[str]) -> list[str]:
    """Return the definitions of a layer's triggers without its name: those of layers that are alike are the same."""
    return [_renamed(sql, name, _ANY) for sql in triggers]


def _renamed(sql: str, model: str, name: str) -> str:
    """Return a definition with another layer's name; in one go, as that may hold what stands for the model's."""
    forms = dict(zip(_forms(model), _forms(name), strict=True))
    return re.sub("|".join(map(re.escape, forms)), lambda found: forms[found[0]], sql)


def _forms(name: str) -> list[str]:
    quotes = ("'" if "'" in form else '"' for form in _FORMS)
    return [form.format(name.replace(quote, 2 * quote)) for form, quote in zip(_FORMS, quotes, strict=True)]


def _make(file: sqlite3.Connection, names: Sequence[str], model: str, table: str) -> None:
    """Make the tables and indexes of layers.

    SQLite searches all definitions after each that it makes: those that are made wait outside of the file until all
    are. Then the layers' own tables come first, as GDAL looks for each of them from the beginning.
    """
    of_index = f"rtree_{model}_geom"
    query = "SELECT sql FROM sqlite_master WHERE type = 'table' AND name = ?"
    ((index,),) = file.execute(query, (of_index,)).fetchall()
    ((before,),) = file.execute("SELECT max(rowid) FROM sqlite_master").fetchall()
    made = list[tuple[str, ...]]()
    with changing_definitions(file):
        for start in range(0, len(names), _PIECE):
            for name in names[start : start + _PIECE]:
                file.execute(table_of(name, model, table))
                file.execute(table_of(f"rtree_{name}_geom", of_index, index))
            made += file.execute("SELECT * FROM sqlite_master WHERE rowid > ?", (before,)).fetchall()
            file.execute("DELETE FROM sqlite_master WHERE rowid > ?", (before,))
        own = set(names)
        made.sort(key=lambda row: row[1] not in own)
        file.executemany("INSERT INTO sqlite_master VALUES (?, ?, ?, ?, ?)", made)


def _say(file: sqlite3.Connection, layers: Sequence[LayerSource], model: str) -> None:
    """Say of layers, in the standard's tables and GDAL's, what these say of the model; and what each is."""
    names = [layer.name for layer in layers]
    query = "SELECT data_type, last_change, srs_id FROM gpkg_contents WHERE table_name = ?"
    (kind,) = file.execute(query, (model,)).fetchall()
    contents = "INSERT INTO gpkg_contents (table_name, identifier, description, data_type, last_change, srs_id)"
    said = [(layer.name, layer.identifier or layer.name, layer.description, *kind) for layer in layers]
    file.executemany(f"{contents} VALUES (?, ?, ?, ?, ?, ?)", said)
    file.executemany("INSERT INTO gpkg_ogr_contents VALUES (?, 0)", [(name,) for name in names])
    for table, columns in _SAID_ALIKE.items():
        _copy(file, table, columns, names, model)
    _copy_metadata(file, names, model)


def _copy(file: sqlite3.Connection, table: str, columns: Sequence[str], names: Sequence[str], model: str) -> None:
    """Give layers the model's rows of a table."""
    if not is_there(file, table):
        return
    rows = file.execute(f"SELECT {', '.join(columns)} FROM {table} WHERE table_name = ? ORDER BY rowid", (model,))
    given = rows.fetchall()
    places = ", ".join("?" * (len(columns) + 1))
    query = f"INSERT INTO {table} (table_name, {', '.join(columns)}) VALUES ({places})"
    file.executemany(query, [(name, *row) for name in names for row in given])


def _copy_metadata(file: sqlite3.Connection, names: Sequence[str], model: str) -> None:
    """Give each layer metadata of its own, as the model has it."""
    if not is_there(file, "gpkg_metadata_reference"):
        return
    given = file.execute(
        "SELECT md_scope, md_standard_uri, mime_type, metadata, reference_scope, timestamp FROM gpkg_metadata"
        " JOIN gpkg_metadata_reference ON md_file_id = id WHERE table_name = ? ORDER BY id",
        (model,),
    ).fetchall()
    into = "(reference_scope, timestamp, table_name, md_file_id)"
    for name in names:
        for *metadata, scope, moment in given:
            number = file.execute("INSERT INTO gpkg_metadata VALUES (NULL, ?, ?, ?, ?)", metadata).lastrowid
            of_layer = (scope, moment, name, number)
            file.execute(f"INSERT INTO gpkg_metadata_reference {into} VALUES (?, ?, ?, ?)", of_layer)
