"""Looks at the beginning of a file of any kind."""

import hashlib
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.files.angle_parts import joined_texts
from pipeline.files.regular_files import read_whole
from pipeline.files.workbook import WORKBOOKS, HiddenSheet, hidden_sheets, sheets_of
from pipeline.files.workbook_parts import BrokenWorkbook
from pipeline.job.model import Points
from pipeline.limits import TABLE
from pipeline.new_job.headings import is_known
from pipeline.new_job.letter_o import west_read, with_west_read
from pipeline.new_job.look import LINES, ROWS, FileLook, as_text, first_texts, first_with_rows
from pipeline.new_job.look_at_text import text_look
from pipeline.new_job.text_header import COLUMN_WORDS, LEAST_KNOWN
from pipeline.new_job.two_row_headings import TWO_AND_BELOW, joined_heading
from pipeline.read.delimited import read_delimited
from pipeline.read.dialect import find_dialect
from pipeline.read.geopackage_layers import layers_of
from pipeline.read.raw_batch import Geometry, Raw
from pipeline.read.said_beside import beside_layer
from pipeline.read.sources import JSON, PACKAGE, TEXT
from pipeline.read.spreadsheet import open_sheet
from pipeline.read.vector import open_layer


def looks(path: Path, shown: str, page: str | None = None) -> Iterator[FileLook]:
    """Yield what a file, or each layer of it, looks like; ``page`` is the code page of its folder's other texts.

    Raises `Unusable` and OSError where it cannot be read.
    """
    yield from map(with_west_read, _looks(path, shown, page))


def _looks(path: Path, shown: str, page: str | None) -> Iterator[FileLook]:
    ending = path.suffix.lower()
    if ending in TEXT:
        yield text_look(path, shown, page)
    elif ending in WORKBOOKS:
        sheets = _sheets(path)
        for sheet in sheets:
            yield _workbook(path, shown, sheet if len(sheets) > 1 else None)
    elif ending in JSON:
        yield _vector(path, shown, None, several=False)
    elif ending in PACKAGE:
        layers = layers_of(path)
        for layer in layers:
            yield _vector(path, shown, layer, several=len(layers) > 1)


def whole(look: FileLook, most: int) -> tuple[dict[str, list[str]], tuple[Floats, Floats, Floats] | None]:
    """Return up to so many rows of a file: the texts of its columns, and its geometries' X, Y, Z, (n,) each, if any.

    Raises `Unusable` where it cannot be read.
    """
    raws: list[Raw] = []
    count = 0
    with _opened(look) as batches:
        for raw in batches:
            raws.append(raw)
            count += len(raw.row)
            if count >= most:
                break
    names = (*look.names, *(name for one in look.joined for name in (*one.rest, one.side) if name))
    texts = {name: [text for raw in raws for text in as_text(_column(raw, name, look))][:most] for name in names}
    texts = joined_texts(texts, look.joined) if look.joined else texts
    texts = west_read(look, texts)
    if look.place is None or any(raw.geometry is None for raw in raws):
        return texts, None
    x, y, z = (
        np.concatenate([np.zeros(0), *(getattr(raw.geometry, axis)[:most] for raw in raws)])[:most] for axis in "xyz"
    )
    return texts, (x, y, z)


def _column(raw: Raw, name: str, look: FileLook) -> pa.Array:
    """Return a column of a batch, which calls it by one row of a heading of two."""
    return list(raw.columns.values())[look.names.index(name)] if look.two_rows else raw.columns[name]


def as_texts(look: FileLook, decimal: str) -> dict[str, list[str]]:
    """Return the columns of a spreadsheet or layer that hold texts, with numbers among them written with a sign.

    Raises `Unusable` and OSError where it cannot be read.
    """
    with _opened(look, decimal) as batches:
        raw = first_with_rows(batches)
    columns = {} if raw is None else raw.columns
    columns = dict(zip(look.names, columns.values(), strict=True)) if look.two_rows and columns else columns
    return {name: as_text(column.slice(0, ROWS)) for name, column in columns.items() if pa.types.is_string(column.type)}


@contextmanager
def _opened(look: FileLook, decimal: str | None = None) -> Iterator[Iterator[Raw]]:
    if look.form == "text":
        known = {} if look.by_number else dict(zip(COLUMN_WORDS, look.names, strict=False))
        dialect = find_dialect(look.path, look.points(known, decimal="."))
        yield read_delimited(look.path, dialect, look.encoding)
        return
    if look.form == "workbook":
        yield open_sheet(look.path, look.points({}, decimal=decimal), 65_536).batches
        return
    layer = look.layer or (layers_of(look.path)[0] if look.form == "gpkg" else None)
    with open_layer(look.path, layer, look.points({}, decimal=decimal), 65_536, hashlib.sha256()) as opened:
        yield opened.batches


def _sheets(path: Path) -> Sequence[str | None]:
    """Return the sheets of a spreadsheet that hold rows; None alone where that is told by reading it."""
    try:
        return sheets_of(read_whole(path, TABLE)) or [None]
    except BrokenWorkbook:
        return [None]


def hidden_of(path: Path) -> list[HiddenSheet]:
    """Return the hidden sheets of a spreadsheet that hold anything; none where it cannot be read, and of other files.

    Raises OSError.
    """
    try:
        return hidden_sheets(read_whole(path, TABLE)) if path.suffix.lower() in WORKBOOKS else []
    except BrokenWorkbook:
        return []


def _workbook(path: Path, shown: str, layer: str | None) -> FileLook:
    """Look at a sheet of a spreadsheet, its only one for None; its header may stand below titles."""
    layers = None if layer is None else (layer,)
    keys: dict[str, str | int] = {}
    sheet = open_sheet(path, Points(files=(shown,), layer=layers), ROWS)
    if sum(map(is_known, sheet.schema.names)) < LEAST_KNOWN and (raw := first_with_rows(sheet.batches)) is not None:
        texts = [as_text(column) for column in raw.columns.values()]
        count = [sum(is_known(text[at]) for text in texts) for at in range(min(len(raw.row), LINES))]
        if max(count, default=0) >= LEAST_KNOWN:
            keys = {"header": int(raw.row[count.index(max(count))])}
    line, joined = _joined(path, shown, layers, int(keys.get("header", sheet.header_line)))
    keys |= {"header": line} if joined else {}
    sheet = open_sheet(path, Points.model_validate({"files": (shown,), "layer": layers, **keys}), ROWS)
    two_rows = 0 < len(sheet.schema.names) <= len(joined)
    dated = frozenset(field.name for field in sheet.schema if pa.types.is_timestamp(field.type))
    columns = first_texts(first_with_rows(sheet.batches), tuple(sheet.schema.names))
    written = f"a spreadsheet, header in row {sheet.header_line}"
    twice = any(re.sub(r"_\d+$", "", name) in set(sheet.schema.names) - {name} for name in sheet.schema.names)
    keys |= {"header": sheet.header_line} if twice else {}  # columns by their numbers need it
    if two_rows:
        called = dict(zip(sheet.schema.names, joined, strict=False))
        columns, dated = {called[name]: texts for name, texts in columns.items()}, frozenset(map(called.get, dated))
    return FileLook(
        path, shown, columns, sheet.header_line, keys, twice and not two_rows, two_rows, written, layer,
        layer is not None, dated=dated, above=sheet.above, form="workbook",
    )  # fmt: skip


def _joined(path: Path, shown: str, layers: tuple[str] | None, header: int) -> tuple[int, list[str]]:
    """Return the header's row, and the headings that it and the row beside it give together, if they do."""
    sheet = open_sheet(path, Points.model_validate({"files": (shown,), "layer": layers, "header": 0}), LINES)
    raw = first_with_rows(sheet.batches)
    texts = [] if raw is None else [as_text(column) for column in raw.columns.values()]
    rows = {} if raw is None else dict(zip(raw.row.tolist(), zip(*texts, strict=True), strict=True))
    for upper in (header - 1, header):
        beside = [rows.get(line, ()) for line in range(upper, upper + TWO_AND_BELOW)]
        if all(beside[:2]) and (joined := joined_heading(beside)):
            return upper + 1, joined
    return header, []


def _vector(path: Path, shown: str, layer: str | None, *, several: bool) -> FileLook:
    points = Points(files=(shown,), layer=None if layer is None else (layer,))
    with open_layer(path, layer, points, ROWS, hashlib.sha256()) as opened:
        raw = first_with_rows(opened.batches)
        names = tuple(opened.schema.names)
        dated = frozenset(field.name for field in opened.schema if pa.types.is_timestamp(field.type))
        crs = opened.crs
    said = beside_layer(path, layer)
    place, no_place = None, ""
    if raw is not None and raw.geometry is not None:
        place = (raw.geometry.x, raw.geometry.y, raw.geometry.z)
        no_place = _no_place(raw.geometry)
    return FileLook(
        path,
        shown,
        first_texts(raw, names),
        written="GeoJSON" if layer is None else f"GeoPackage, layer {layer}",
        layer=layer if several else None,
        several_layers=several,
        crs=crs,
        place=place,
        no_place=no_place,
        dated=dated,
        above=tuple(one.text for one in said),
        stands=said[0].where if said else "",
        form="geojson" if layer is None else "gpkg",
    )


def _no_place(geometry: Geometry) -> str:
    """Return why the first geometry that is there and no point cannot be used, "" where all can or there are none."""
    broken = geometry.broken.drop_null().to_pylist() if geometry.broken is not None else []
    if broken:
        return str(broken[0])
    return "the geometry is not a point: export a layer of points" if geometry.other.any() else ""
