"""The file of a register, or of a table of codes, of whatever kind, as one table of text."""

import math
import sqlite3
import struct
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from pipeline.control.table_form import AS_OURS, Form
from pipeline.files.features import Features, cell, has_too_many_columns, read_geojson, sheet_of
from pipeline.files.geopackages import (
    POINTS,
    SQLITE,
    BrokenGeometry,
    Layer,
    describe,
    geometry_kind,
    layer_names,
    of_bytes,
    wkb_of,
)
from pipeline.files.guarded_database import failure_message
from pipeline.files.sheet import TABLES, Sheet, read_sheet
from pipeline.files.table_text import decode, read_bytes
from pipeline.files.unlocked_database import quoted
from pipeline.files.unread_formats import way_to_read
from pipeline.files.workbook import WORKBOOKS
from pipeline.problems import Problems

#: Numbers of a point that are X, Y and, where there is one, Z, by its type in well-known binary: XYM has no Z.
_NUMBERS = {kind: 3 for kind in POINTS} | {1: 2, 2001: 2, 0x40000001: 2}


#: Bytes that the rows of a register may hold together: beyond any that is one, a view makes what is not there.
_LARGEST = 1 << 26

#: Characters of a value in a column that is none of ours beyond which it is left alone.
_LONG = 1_000


def read_source(
    path: Path,
    shown: str,
    columns: tuple[str, ...],
    problems: Problems,
    form: Form = AS_OURS,
) -> tuple[Sheet | None, str | None]:
    """Return the table with columns by our names, and the CRS of the geometry where it gives coordinates.

    ``columns`` are those of the three coordinates, none of a table that has no places.
    """
    kind = path.suffix.lower()
    if kind in (*TABLES, *WORKBOOKS):
        table = read_sheet(path, shown, problems, form.wanted(), form.written, every=True)
        return (form.of_sheet(table, problems) if table is not None else None), None
    if kind not in (".gpkg", ".geojson", ".json"):
        fix = _way(path) or "save it as .csv, .xlsx, .gpkg or .geojson"
        problems.add(shown, 0, f"{form.called_so} in a '{kind}' file is not supported", fix)
        return None, None
    data = read_bytes(path, shown, problems)
    if data is None:
        return None, None
    if kind == ".gpkg":
        features = _geopackage(path, data, shown, columns, problems, form)
    else:
        text = decode(data, shown, problems)
        features = read_geojson(text, shown, problems) if text is not None else None
    if features is None or has_too_many_columns(features, shown, problems):
        return None, None
    features = form.of_features(features, shown, problems)
    if features is None:
        return None, None
    sheet = sheet_of(features, columns, data, shown)
    return sheet, features.crs if sheet.of_points else None


def _way(path: Path) -> str:
    """Return what to do with a file in a format that is not read; "" where that is unknown, or it cannot be opened."""
    try:
        return way_to_read(path) if path.is_file() else ""
    except OSError:
        return ""


def _geopackage(
    path: Path,
    data: bytes,
    shown: str,
    columns: tuple[str, ...],
    problems: Problems,
    form: Form,
) -> Features | None:
    """Read a layer from the bytes whose sum is recorded."""
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.is_file() and beside.stat().st_size:
            problems.add(shown, 0, f"another program has changes to it in {beside.name}", "close it there")
            return None
    if not data.startswith(SQLITE):
        problems.add(shown, 0, "this file cannot be read: it is not a GeoPackage", "export it again")
        return None
    try:
        with closing(of_bytes(data)) as package:
            chosen = _layer(layer_names(package), shown, problems, form)
            if chosen is None:
                return None
            return _features(package, describe(package, chosen), shown, columns, problems, form)
    except (sqlite3.Error, UnicodeDecodeError, MemoryError) as error:  # the second: a column's name is damaged
        problems.add(shown, 0, f"this GeoPackage cannot be read: {failure_message(error)}", "export it again")
        return None


def _features(
    package: sqlite3.Connection,
    layer: Layer,
    shown: str,
    columns: tuple[str, ...],
    problems: Problems,
    form: Form,
) -> Features | None:
    """Return the rows in the order of their numbers, every value as it is stored; others' long ones are left alone."""
    before = len(problems.found)
    called = [column.name.strip().casefold() for column in layer.columns]
    used = {name for name in called if {*columns, *form.columns}.intersection(form.called(name))}
    by_place = not set(columns) <= {word for name in called for word in form.called(name)}
    columns_called = zip(layer.columns, called, strict=True)
    names = [quoted(column.name) if name in used else _short(quoted(column.name)) for column, name in columns_called]
    names.append(quoted(layer.geometry) if layer.geometry is not None else "NULL")
    order = f" ORDER BY {layer.key}" if layer.key else ""
    cells, points = [], []
    size = 0
    for line, row in enumerate(package.execute(f"SELECT {', '.join(names)} FROM {quoted(layer.name)}{order}"), start=1):
        size += sum(len(value) for value in row if isinstance(value, str | bytes))
        if size > _LARGEST:
            what = f"its rows up to here hold more than {_LARGEST >> 20} MB"
            problems.add(shown, line, what, "export the marks alone")
            return None
        wkb = None
        try:
            wkb = wkb_of(row[-1], layer.srs_ids) if by_place else None
        except BrokenGeometry as error:
            problems.add(shown, line, f"{error}", "give every mark a point of the layer, or none")
        points.append(tuple(cell(value) for value in _point(wkb)))
        named = zip(called, row, strict=False)
        cells.append(
            {name: _text(value, line, shown, problems) if name in used else _other(value) for name, value in named}
        )
    return Features(tuple(cells), tuple(points), layer.crs or "") if len(problems.found) == before else None


def _short(column: str) -> str:
    """Return the expression of a column of others that leaves out bytes and long texts."""
    return f"iif(typeof({column}) = 'blob' OR length({column}) > {_LONG}, NULL, {column})"


def _other(value: object) -> str:
    """Return a value that is none of ours as a cell; nothing where it is no text."""
    text = cell(value)
    return "" if "\0" in text or any("\ud800" <= sign <= "\udfff" for sign in text) else text


def _text(value: object, line: int, shown: str, problems: Problems) -> str:
    """Return a stored value as a cell; bytes, and text that is not UTF-8 or has a NUL, are a problem."""
    text = "" if isinstance(value, bytes) else cell(value)
    try:
        sound = not isinstance(value, bytes) and "\0" not in text and bool(text.encode() or True)
    except UnicodeEncodeError:
        sound = False
    if not sound:
        found = value.hex(" ") if isinstance(value, bytes) else text.encode("utf-8", "surrogateescape").hex(" ")
        problems.add(shown, line, f"this row holds bytes that are not text: {found[:40]}", "write it as UTF-8 text")
    return text


def _point(wkb: bytes | None) -> tuple[float, ...]:
    """Return X, Y and any Z of a point in well-known binary; nothing for null, empty and other shapes."""
    if wkb is None or geometry_kind(wkb) not in _NUMBERS:
        return ()
    order, numbers = ("<" if wkb[0] == 1 else ">"), _NUMBERS[geometry_kind(wkb)]
    found: tuple[float, ...] = struct.unpack_from(f"{order}{numbers}d", wkb, 5)
    return () if math.isnan(found[0]) else found


def _layer(layers: Sequence[str], shown: str, problems: Problems, form: Form) -> str | None:
    layer = form.written.layer
    if layer is None and len(layers) == 1:
        return layers[0]
    if layer in layers:
        return layer
    what = f"has no layer '{layer}'" if layer is not None else "has not one layer, but " + str(len(layers))
    problems.add(shown, 0, f"this GeoPackage {what}", f"write layer = in [{form.table}]: {', '.join(layers) or 'none'}")
    return None
