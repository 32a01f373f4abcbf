"""One file of any format as an open source: its columns, how they become readings, and its rows."""

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
from msgspec import Struct

from pipeline.digest import Sum
from pipeline.files import table_endings
from pipeline.files.odd_text import looks_like_data
from pipeline.files.sheet import TABLES
from pipeline.files.workbook import WORKBOOKS
from pipeline.geodesy.crs_comparison import is_geographic, is_wgs84
from pipeline.job.model import Points
from pipeline.near import listed, nearest
from pipeline.read.angles_in_parts import in_parts, with_angles_joined
from pipeline.read.columns import ReadingPlan, lengths_of, reading_plan
from pipeline.read.delimited import read_delimited
from pipeline.read.dialect import find_dialect
from pipeline.read.findings import Unusable
from pipeline.read.geopackage_layers import layers_of
from pipeline.read.halves_of_day import checked
from pipeline.read.headings import check_headings, check_parts
from pipeline.read.issued_headings import ISSUED_SAID, is_issued
from pipeline.read.mapping import fitted, mapped, mapped_by_number, position_of
from pipeline.read.raw_batch import Raw
from pipeline.read.repeated_headings import with_one_heading
from pipeline.read.spreadsheet import open_sheet
from pipeline.read.text_blocks import CHUNK
from pipeline.read.truncated_files import without_cut_rows
from pipeline.read.two_columns import put_together
from pipeline.read.units_below import with_units_below
from pipeline.read.vector import open_layer
from pipeline.words import counted

QUOTE = '"'
TEXT, JSON, PACKAGE = TABLES, (".geojson", ".json"), table_endings.PACKAGES

#: Rows (vector) and bytes (text) of a batch where only a look at the file's beginning is wanted.
_LOOK_ROWS, _LOOK_BYTES = 1000, 256 << 10


class Source(Struct, frozen=True):
    """A file that is open: the line of its header, its CRS if it says one, its plan, and its rows to be read once.

    ``seen`` is the sum of what was read of a text or GeoJSON file; a GeoPackage is not read from its beginning to end.
    ``above`` are the lines above the header.
    """

    header_line: int
    crs: str | None
    how: ReadingPlan
    batches: Iterator[Raw]
    seen: Sum | None = None
    above: tuple[str, ...] = ()


@contextmanager
def open_source(path: Path, points: Points, rows_per_batch: int, look: bool = False) -> Iterator[Source]:
    """Open a file; ``look`` for small batches, the first of which are enough.

    Raises `Unusable` where it cannot be read or a mapped column is not there, and later while its rows are read.
    """
    if path.suffix.lower() in TEXT:
        yield _open_text(path, points, _LOOK_BYTES if look else CHUNK)
        return
    if path.suffix.lower() in WORKBOOKS:
        yield _open_sheet(path, points, rows_per_batch)
        return
    layer = layer_of(path, points) if path.suffix.lower() in PACKAGE else None
    seen = hashlib.sha256()
    with open_layer(path, layer, points, _LOOK_ROWS if look else rows_per_batch, seen) as vector:
        points = vector.points
        _check_columns(points, vector.schema, 1)
        if not vector.spatial and position_of(points.columns).from_geometry:
            raise Unusable(1, "there is no geometry and the columns map no position", "map the position's columns")
        _check_header(points, vector.schema.names, 1)
        how = reading_plan(points, points.decimal or ".", vector.schema, _in_degrees(points.crs, vector.crs))
        how, rows = _with_whole_columns(how, vector.batches, 1)
        yield Source(1, vector.crs, how, rows, None if layer is not None else seen)


def _open_text(path: Path, points: Points, chunk: int) -> Source:
    dialect = find_dialect(path, points)
    points = fitted(points, dialect.names)
    if points.delimiter is not None and len(dialect.names) == 1 < len(mapped(points.columns)):
        what = f'the header contains no "{points.delimiter}", which the block states as delimiter'
        raise Unusable(dialect.header_line, what, "state the one that the file has, or omit the key")
    _check_numbers(points, dialect.header_line, len(dialect.names))
    schema = pa.schema([(name, pa.string()) for name in dialect.names])
    _check_columns(points, schema, dialect.header_line)
    if position_of(points.columns).from_geometry:
        raise Unusable(dialect.header_line, "the job file maps no position columns", "map longitude, latitude, height")
    _check_header(points, dialect.names, dialect.header_line)
    how = reading_plan(points, dialect.decimal, schema)
    seen = hashlib.sha256()
    whole = without_cut_rows(path, points, dialect, read_delimited(path, dialect, points.encoding, chunk, seen))
    how, rows = _with_whole_columns(how, whole, dialect.header_line)
    return Source(dialect.header_line, None, how, rows, seen, dialect.above)


def _open_sheet(path: Path, points: Points, rows_per_batch: int) -> Source:
    sheet = open_sheet(path, points, rows_per_batch)
    points, line = sheet.points, sheet.header_line
    _check_numbers(points, line, len(sheet.schema))
    _check_columns(points, sheet.schema, line)
    if position_of(points.columns).from_geometry:
        raise Unusable(line, "the job file maps no position columns", "map longitude, latitude, height")
    _check_header(points, sheet.schema.names, line)
    how = reading_plan(points, points.decimal or ".", sheet.schema, dates=True)
    how, rows = _with_whole_columns(how, sheet.batches, line)
    return Source(line, None, how, rows, above=sheet.above)


def _check_header(points: Points, names: Sequence[str], line: int) -> None:
    """Hold what a header says of units and angles against the block. Raises `Unusable` with its line."""
    check_headings(points, lengths_of(points), line, in_parts(points, tuple(names)))
    check_parts(points, names, line)


def _with_whole_columns(how: ReadingPlan, batches: Iterator[Raw], line: int) -> tuple[ReadingPlan, Iterator[Raw]]:
    """Return the plan by the rows below the header's ``line`` too, and the rows with times and angles in one column."""
    how, rows = with_units_below(how, batches)
    how, rows = with_angles_joined(*put_together(how, with_one_heading(how, rows)), line)
    return how, checked(how, rows)


def has_layers(path: Path) -> bool:
    """Say whether a file is of a kind that has layers, or sheets."""
    return path.suffix.lower() in (*PACKAGE, *WORKBOOKS)


def layer_of(path: Path, points: Points) -> str:
    """Return the layer of a GeoPackage that the block means. Raises `Unusable` where there is none."""
    there = layers_of(path)
    every = listed(there, QUOTE)
    if not there:
        raise Unusable(0, "the GeoPackage has no layer")
    if points.layer is None:
        if len(there) > 1:
            fix = f"name one of them as layer, or several as layer = [{listed(there[:2], QUOTE)}]"
            raise Unusable(0, f"the GeoPackage has several layers: {every}", fix)
        return there[0]
    (layer,) = points.layer
    if layer not in there:
        near = nearest(layer, there)
        fix = f"nearest: {_listed(near)}; there are {every}" if near else f"there are {every}"
        raise Unusable(0, f'there is no layer "{layer}"', fix)
    return layer


def _check_numbers(points: Points, line: int, there: int) -> None:
    """Say of every column that is mapped by a number which the file does not have."""
    missing = [f"no column {place} (mapped as {word})" for word, place in mapped_by_number(points.columns).items()]
    if missing:
        what = f"the rows have {counted(there, 'cell')}: {' and '.join(missing)}"
        raise Unusable(max(line, 1), what, "count the columns from 1, and check delimiter")


def _check_columns(points: Points, schema: pa.Schema, line: int) -> None:
    """Say of every mapped column that is not there which names come nearest, and of what no export has."""
    if is_issued(schema.names):
        raise Unusable(line, f"it is {ISSUED_SAID}", "let `files` match the exports that the issue was made from")
    missing = [(word, name) for word, name in mapped(points.columns).items() if name not in schema.names]
    if not missing:
        return
    told = " and ".join(f'no column "{name}" (mapped as {word})' for word, name in missing)
    if looks_like_data(schema.names):
        what = "the first line holds data, not column names: the file has no header"
        fix = f"add a line above it with the column names {_listed([name for _, name in missing])}"
        raise Unusable(line, what, f"{fix}; or state header = 0 and map columns by number, such as name = 1")
    spoilt = [name for _, name in missing if _as_utf8(name, points.encoding) in schema.names]
    if spoilt:
        fix = f'the file is UTF-8, and encoding = "{points.encoding}" misreads it: omit encoding'
        raise Unusable(line, told, fix)
    near = list(dict.fromkeys(found for _, name in missing for found in nearest(name, schema.names)))
    there = f"the columns are {listed(schema.names, QUOTE)}" if schema.names else "the file has no columns at all"
    nameless = [place for place, name in enumerate(schema.names, start=1) if name == f"column_{place}"]
    if nameless and line:
        there += f"; map one without a heading by its number: header = {line} and {missing[0][0]} = {nameless[0]}"
    raise Unusable(line, told, f"nearest: {_listed(near)}; {there}" if near else there)


def _as_utf8(name: str, encoding: str | None) -> str | None:
    """Return what a name in UTF-8 becomes where it is read in another encoding; None where that cannot be."""
    try:
        return name.encode().decode(encoding) if encoding is not None and not name.isascii() else None
    except (LookupError, ValueError):
        return None


def _listed(names: list[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def _in_degrees(block: str | None, layer: str | None) -> bool:
    """Whether a geometry is in degrees. WGS 84 may be what a program writes unasked: there the job file decides."""
    return is_geographic(block if layer is None or is_wgs84(layer) else layer)
