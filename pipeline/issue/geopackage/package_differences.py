"""How a GeoPackage differs from what was issued, in words. That it does is known by its bytes; here it is said in what.

A file that was altered, or damaged, makes libraries fail in ways of their own: whatever they say becomes words too.
"""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path

import numpy as np

from pipeline.files.geopackages import ENVELOPE_BYTES
from pipeline.files.guarded_database import Guarded, failure_message
from pipeline.files.unlocked_database import as_seen, is_there, quoted, unlocked
from pipeline.issue.geopackage.package_database import HEADER, database_of
from pipeline.issue.geopackage.recount import NotReadable, recount_package
from pipeline.issue.geopackage.stored_rows import HEADER_BYTES
from pipeline.issue.record_types import DatabaseIssued, FileIssued, LayerSums
from pipeline.words import counted

#: Said of one that is as issued in all that is read of it, and yet has other bytes.
BYTES = (
    "its pages are not those that were issued, though all that is read from them is: a program rewrote them, or"
    " bytes that nothing reads were changed"
)

#: What the tables that are no layers hold, by their names.
_HOLD = {
    "gpkg_contents": "what it says of its layers (identifiers, descriptions, dates, extents)",
    "gpkg_extensions": "the extensions that it names",
    "gpkg_geometry_columns": "the kind and coordinate system of its geometries",
    "gpkg_metadata": "its metadata",
    "gpkg_metadata_reference": "what its metadata is about",
    "gpkg_ogr_contents": "the numbers of features that it names",
    "gpkg_spatial_ref_sys": "the definitions of its coordinate systems",
}
#: What of them follows from the layers, and is not told beside a difference of those.
_FOLLOWS = {"gpkg_contents", "gpkg_ogr_contents"}
#: Fields of the header that say something (SQLite's file format, section 1.3).
_FIELDS = {"user_version": slice(60, 64), "application_id": slice(68, 72), "text encoding": slice(56, 60)}
_PIECE = 10_000


def differences(package: Path, entry: FileIssued) -> Iterator[str]:
    """Yield how a GeoPackage, with what waits in logs beside it, differs from what the record says of it.

    Nothing where its layers are as issued and the record says no more than them (an early version wrote it). Raises
    OSError.
    """
    try:
        with as_seen(package) as seen:
            yield from list(_differences(seen, entry))
    except OSError:
        raise
    except Exception as error:
        yield f"cannot be read: {failure_message(error)}"


def _differences(package: Path, entry: FileIssued) -> Iterator[str]:
    layers, issued = entry["layers"], entry.get("database")
    with closing(unlocked(package)) as file:
        file.text_factory = bytes
        if (damage := file.execute("PRAGMA integrity_check(1)").fetchone()[0]) != b"ok":
            yield f"cannot be read: it is damaged ({damage.decode('utf-8', 'backslashreplace')})"
            return
    with closing(unlocked(package)) as file:
        found = database_of(package, file, [layer["name"] for layer in layers]) if issued is not None else None
    try:
        of_layers = list(_content(package, layers))
    except NotReadable as error:
        of_layers = [f"cannot be read: {error}"]
    of_index = [] if of_layers else list(_indexes(package, layers))
    told = [*of_layers, *of_index]
    if issued is not None and found is not None:
        told += list(_database(found, issued, {*_FOLLOWS} if of_layers else set(), of_layers))
        with package.open("rb") as head:
            told += list(_header(head.read(HEADER), bytes.fromhex(issued["header"])))
        told = told or [BYTES]
    yield from told


def _header(found: bytes, issued: bytes) -> Iterator[str]:
    for name, field in _FIELDS.items():
        if found[field] != issued[field]:
            was, now = (int.from_bytes(one[field], "big") for one in (issued, found))
            yield f"its {name} is {now}, issued was {was}"


def _database(found: DatabaseIssued, issued: DatabaseIssued, follows: set[str], of_layers: list[str]) -> Iterator[str]:
    said = " ".join(of_layers)
    for name in {**issued["objects"], **found["objects"]}:
        there, was = found["objects"].get(name), issued["objects"].get(name)
        if there == was or f"layer {name.partition(' ')[2]}" in said:
            continue
        yield f"{name} " + ("is missing" if there is None else "was not issued" if was is None else "is another one")
    for name, was in issued["tables"].items():
        there = found["tables"].get(name)
        if there not in (None, was) and name not in follows:
            yield f"table {name}: {_HOLD.get(name, 'its rows')} changed"


def _content(package: Path, layers: list[LayerSums]) -> Iterator[str]:
    """Yield how the layers of a GeoPackage differ from what the record says of them. Raises NotReadable, OSError."""
    found = {layer.name: layer for layer in recount_package(package)}
    for given in layers:
        there = found.pop(given["name"], None)
        if there is None:
            yield f"layer {given['name']} is missing"
            continue
        if there.rows != given["rows"]:
            yield f"layer {given['name']} has {counted(there.rows, 'row')}, issued were {given['rows']:,}"
        elif there.content != given["content"]:
            yield f"layer {given['name']}: " + _columns(there.sums, given["columns"])
    yield from (f"layer {name} was not issued" for name in found)


def _columns(found: Mapping[str, str], given: Mapping[str, str]) -> str:
    changed = [name for name in given if name in found and found[name] != given[name]]
    told = [f"{', '.join(changed)} changed"] if changed else []
    for word, names in (("gone", [*(given.keys() - found.keys())]), ("added", [*(found.keys() - given.keys())])):
        told += [f"column {name} {word}" for name in sorted(names)]
    return "; ".join(told) or "its columns are in another order"


def _indexes(package: Path, layers: list[LayerSums]) -> Iterator[str]:
    """Yield the layers whose spatial index does not lead to their geometries."""
    with closing(unlocked(package)) as file:
        for layer in layers:
            try:
                sound = _leads_there(file, layer["name"])
            except sqlite3.DatabaseError as error:
                yield f"the spatial index of layer {layer['name']} cannot be read: {failure_message(error)}"
                continue
            if not sound:
                yield f"the spatial index of layer {layer['name']} is not that of its geometries"


def _leads_there(file: Guarded, layer: str) -> bool:
    index = f"rtree_{layer}_geom"
    if not is_there(file, index):
        return True  # that it is gone is told by its definition
    ((checked,),) = file.execute("SELECT rtreecheck(?)", (index,)).fetchall()
    ((entries,),) = file.execute(f"SELECT ifnull(sum(1), 0) FROM {quoted(index)}").fetchall()
    rows = file.execute(
        f"SELECT l.geom, i.minx, i.maxx, i.miny, i.maxy FROM {quoted(layer)} l LEFT JOIN {quoted(index)} i"
        " ON i.id = l.fid WHERE l.geom IS NOT NULL"
    )
    geometries = 0
    while piece := rows.fetchmany(_PIECE):
        geometries += len(piece)
        if not all(_within(*row) for row in piece):
            return False
    return bool(checked == "ok" and entries == geometries)


def _within(geometry: bytes, low_x: float | None, high_x: float | None, low_y: float, high_y: float) -> bool:
    """Tell whether a box of the index is that of its geometry: 32 bits a side, rounded outwards."""
    if low_x is None or high_x is None:
        return False
    # a point's has no envelope; before a line's vertices stand header, envelope, and the head of the WKB
    begin = len(geometry) - 24 if len(geometry) < 50 else HEADER_BYTES + ENVELOPE_BYTES.get(geometry[3] >> 1 & 7, 0) + 9
    vertices = np.frombuffer(geometry[begin:], "<f8").reshape(-1, 3)[:, :2]
    box = np.array([[low_x, low_y], [high_x, high_y]])
    exact = np.array([vertices.min(axis=0), vertices.max(axis=0)])
    slack = 4 * np.spacing(np.abs(exact).astype(np.float32)).astype(np.float64)
    return bool((box[0] <= exact[0]).all() and (box[1] >= exact[1]).all() and (np.abs(box - exact) <= slack).all())
