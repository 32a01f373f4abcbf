"""Reads the beginning of a file of any kind as one table of texts, and how the file is written."""

import codecs
import hashlib
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Floats
from pipeline.files.odd_text import looks_like_data
from pipeline.files.regular_files import read_whole
from pipeline.files.workbook import WORKBOOKS, HiddenSheet, hidden_sheets, sheets_of
from pipeline.files.workbook_parts import BrokenWorkbook
from pipeline.job.key_values import BLANKS
from pipeline.job.model import Columns, Points
from pipeline.limits import TABLE
from pipeline.new_job.encodings import CodePages, code_pages
from pipeline.new_job.headings import bare, is_known
from pipeline.read.delimited import read_delimited
from pipeline.read.delimited_lines import whole_lines
from pipeline.read.dialect import Dialect, find_dialect
from pipeline.read.findings import Unusable
from pipeline.read.geopackage_layers import layers_of
from pipeline.read.raw_batch import Geometry, Raw
from pipeline.read.records import Stray, Unclosed, cells
from pipeline.read.skipped_comments import commented
from pipeline.read.sources import JSON, PACKAGE, TEXT
from pipeline.read.spreadsheet import open_sheet
from pipeline.read.text_blocks import blocks, encoding_of
from pipeline.read.vector import open_layer

#: Rows and bytes of a file that are looked at to tell what it is, and lines among which its header is looked for.
ROWS, BYTES, LINES = 1000, 256 << 10, 60

#: What a text is read in that makes sense in no code page.
_PLAINEST = "cp1252"
_DELIMITERS = ",;\t|"
#: So many headings that are known make a header.
_HEADINGS = 2


@dataclass(frozen=True)
class FileLook:
    """A file, or one layer of it, as far as it was looked at.

    ``columns`` are the texts of the first rows by column, "" where there is none; ``dated`` the columns that hold times
    by their type. ``keys`` are what a job file has to state of how the file is written, ``written`` says it in words;
    ``numbered`` tells that columns go by their numbers. ``crs`` is a layer's own. ``place`` is X, Y, Z (NaN where there
    is none) of the first rows' geometries, ``no_place`` why the first has none. ``above`` are the lines above the
    header. ``signed`` are the numbers of the lines below it that begin with the sign of a comment and look like rows.
    ``pages`` are the code pages that a text may be in that is no UTF-8. ``torn`` are the lines of those of the first
    rows that cannot be taken apart into as many cells as the header has, ``fault`` what is wrong with the first of
    them; ``blanks`` tells that blanks part the columns. ``nuls`` are the lines of the first rows that hold a NUL.
    """

    path: Path
    shown: str
    columns: dict[str, list[str]]
    header_line: int = 1
    keys: dict[str, str | int] = field(default_factory=dict)
    numbered: bool = False
    written: str = ""
    layer: str | None = None
    several_layers: bool = False
    crs: str | None = None
    place: tuple[Floats, Floats, Floats] | None = None
    no_place: str = ""
    dated: frozenset[str] = frozenset()
    above: tuple[str, ...] = ()
    signed: tuple[int, ...] = ()
    pages: CodePages | None = None
    torn: tuple[int, ...] = ()
    fault: str = ""
    blanks: bool = False
    nuls: tuple[int, ...] = ()
    form: str = field(default="text")

    @property
    def names(self) -> tuple[str, ...]:
        """The columns in the file's order."""
        return tuple(self.columns)

    @property
    def called(self) -> str:
        """The file, with its layer where it has several."""
        return f"{self.shown}, layer {self.layer}" if self.several_layers else self.shown

    @property
    def encoding(self) -> str | None:
        """The encoding that has to be stated."""
        found = self.keys.get("encoding")
        return None if found is None else str(found)

    def named(self, columns: dict[str, str]) -> dict[str, str | int]:
        """Return columns as a job file names them: by their numbers where names do not tell them apart, or are spelt
        in as many ways as there are code pages that the file may be in.
        """
        spelt = self.pages is not None and len(self.pages.names) > 1  # otherwise in each code page
        return {
            word: self.names.index(name) + 1 if self.numbered or (spelt and not name.isascii()) else name
            for word, name in columns.items()
        }

    def points(self, columns: dict[str, str], **more: str | None) -> Points:
        """Return the block of a job file by which the file is read."""
        mapped = Columns(**self.named(columns))
        stated = {"crs": self.crs, **self.keys, **more}
        layer = {} if self.layer is None else {"layer": self.layer}
        return Points.model_validate({"files": (self.shown,), "columns": mapped, **layer, **stated})


def looks(path: Path, shown: str, page: str | None = None) -> Iterator[FileLook]:
    """Yield what a file, or each layer of it, looks like; ``page`` is the code page of its folder's other texts.

    Raises `Unusable` and OSError where it cannot be read.
    """
    ending = path.suffix.lower()
    if ending in TEXT:
        yield _text(path, shown, page)
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
    """Return up to so many rows of a file: the texts of its columns, and its geometries' X, Y, Z if it has any.

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
    texts = {name: [text for raw in raws for text in _as_text(raw.columns[name])][:most] for name in look.names}
    if look.place is None or any(raw.geometry is None for raw in raws):
        return texts, None
    x, y, z = (
        np.concatenate([np.zeros(0), *(getattr(raw.geometry, axis)[:most] for raw in raws)])[:most] for axis in "xyz"
    )
    return texts, (x, y, z)


def as_texts(look: FileLook, decimal: str) -> dict[str, list[str]]:
    """Return the columns of a spreadsheet or layer that hold texts, with numbers among them written with a sign.

    Raises `Unusable` and OSError where it cannot be read.
    """
    with _opened(look, decimal) as batches:
        raw = _first(batches)
    columns = {} if raw is None else raw.columns
    return {
        name: _as_text(column.slice(0, ROWS)) for name, column in columns.items() if pa.types.is_string(column.type)
    }


@contextmanager
def _opened(look: FileLook, decimal: str | None = None) -> Iterator[Iterator[Raw]]:
    if look.form == "text":
        known = {} if look.numbered else dict(zip(_WORDS, look.names, strict=False))
        dialect = find_dialect(look.path, look.points(known, decimal="."))
        yield read_delimited(look.path, dialect, look.encoding)
        return
    if look.form == "workbook":
        yield open_sheet(look.path, look.points({}, decimal=decimal), 65_536).batches
        return
    layer = look.layer or (layers_of(look.path)[0] if look.form == "gpkg" else None)
    with open_layer(look.path, layer, look.points({}, decimal=decimal), 65_536, hashlib.sha256()) as opened:
        yield opened.batches


def pages_of(path: Path) -> CodePages | None:
    """Return the code pages that a text may be in; None of UTF-8, and where it makes sense in none."""
    try:
        return _encoding(path, None)[2] if path.suffix.lower() in TEXT else None
    except OSError:
        return None


def _text(path: Path, shown: str, page: str | None) -> FileLook:
    encoding, why, pages = _encoding(path, page)
    beginning = whole_lines(_beginning(path, encoding))
    lines = beginning[:LINES]
    at, delimiter = _header(lines)
    if at is None:
        raise Unusable(1, "the file is empty")
    names = _cells(lines[at], delimiter)
    own = _sign_before(lines, at, delimiter)
    names = names[1:] if own else names
    if any("\0" in name for name in names):
        raise Unusable(at + 1, "its header has NUL bytes", "export it again, or remove them")
    stated: dict[str, str | int] = {} if encoding is None else {"encoding": encoding}
    none = sum(map(is_known, names)) < 2 and looks_like_data(names)
    filled = [name for name in names if name]
    numbered = none or len(set(filled)) < len(filled)
    signed = _signed(beginning, 0 if none else at + 1, delimiter, names)
    comment = True if own else _needs_comment(beginning, at, none, signed)
    header = _Header(at, delimiter, names, none, numbered, comment, own or _SIGN.decode())
    keys, dialect = _dialect(path, shown, header, stated)
    raw = _first(read_delimited(path, dialect, encoding, BYTES))
    torn = _torn(raw)
    if pages is not None and len(pages.names) > 1 and not all(map(str.isascii, dialect.names)) and "header" not in keys:
        keys["header"] = dialect.header_line  # names that each code page spells otherwise cannot find it
    return FileLook(
        path,
        shown,
        _texts(raw, dialect.names),
        header_line=dialect.header_line,
        keys=keys,
        numbered=numbered,
        written=_written(dialect, why),
        pages=pages,
        torn=tuple(torn),
        fault=next(iter(torn.values()), ""),
        blanks=dialect.blanks,
        nuls=_nuls(path) if encoding is None or pages is not None else (),
        above=tuple(line.decode("utf-8", "replace").strip() for line in lines[:at]),
        signed=signed if _has_others(beginning, 0 if none else at + 1) else (),
    )


def _nuls(path: Path) -> tuple[int, ...]:
    """Return the lines of the beginning that hold a NUL, the last of the file too, which has no end then."""
    with path.open("rb") as file:
        beginning = file.read(BYTES)
    if beginning.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return ()  # every other byte of it is one
    lines = re.split(rb"\r\n|\n|\r", beginning)
    return tuple(number for number, line in enumerate(lines, start=1) if b"\0" in line)


def _torn(raw: Raw | None) -> dict[int, str]:
    """Return the lines of the first rows that cannot be taken apart into as many cells as the header has, with why."""
    if raw is None or raw.fault is None:
        return {}
    first = zip(raw.row[:ROWS].tolist(), raw.fault[:ROWS].to_pylist(), strict=True)
    return {line: fault for line, fault in first if fault is not None}


#: What begins a comment in most texts that have any.
_SIGN = b"#"


def _signed(lines: Sequence[bytes], header: int, delimiter: str, names: list[str]) -> tuple[int, ...]:
    """Return the lines below the header that begin with the sign of a comment and look like rows."""
    numbered, blanks = list(enumerate(lines, start=1)), delimiter == BLANKS
    sign = "\t" if blanks else delimiter
    return tuple(commented(numbered, _SIGN, sign, blanks, _width(names), header))


def _has_others(lines: Sequence[bytes], header: int) -> bool:
    """Tell whether any line below the header has no comment's sign before it."""
    return any(line.strip() and not _is_comment(line) for line in lines[header:])


def _needs_comment(lines: Sequence[bytes], at: int, none: bool, signed: Sequence[int]) -> bool | None:
    """Tell whether a comment's sign has to be stated: the header has it before it, or lines below that are no rows.

    None where only lines above the header have it, which may be stepped over without. Where lines with the sign may be
    rows it is never stated for those below: it would pass over them.
    """
    if none:
        return False
    if _is_comment(lines[at]) and len(lines[at].lstrip(b" \t#")) and not _is_heading(lines[at]):
        return True
    if any(_is_comment(line) for line in lines[at + 1 :]):
        return not signed
    return None


def _is_comment(line: bytes) -> bool:
    return line.lstrip(b" \t").startswith(_SIGN)


def _is_heading(line: bytes) -> bool:
    """Tell whether a line begins with a heading that is a comment's sign alone, as numbers of points have it."""
    return re.match(rb"[ \t]*#[ ]*[,;|\t]", line) is not None


#: Words by which columns are named where only the header is to be found.
_WORDS = ("name", "code", "time", "solution", "base", "mark")


@dataclass(frozen=True)
class _Header:
    """The header of a text as it is found: the lines above it, its delimiter and the names in it.

    ``none`` tells that it is a row already, ``numbered`` that columns go by their numbers; ``comment`` whether the
    ``sign`` of comments has to be stated, None where either may do.
    """

    above: int
    delimiter: str
    names: list[str]
    none: bool
    numbered: bool
    comment: bool | None
    sign: str

    @property
    def line(self) -> int:
        return 0 if self.none else self.above + 1

    def stated(self) -> Iterator[dict[str, str | int]]:
        """Yield the keys that may be stated for the reader to find it, in the order in which they are tried."""
        delimiter: dict[str, str | int] = {"delimiter": self.delimiter}
        line: dict[str, str | int] = {"header": self.line}
        more = [{}, delimiter, line, delimiter | line]
        if self.none:
            more = [line, line | delimiter]
        elif self.numbered:  # which a job file has to say then
            more = [line, delimiter | line]
        if not self.comment:
            yield from more
        if self.comment is not False:
            yield from (each | {"comment": self.sign} for each in more)


def _dialect(
    path: Path, shown: str, header: _Header, stated: dict[str, str | int]
) -> tuple[dict[str, str | int], Dialect]:
    """Return what has to be stated so that the reader finds this header and delimiter, as little as will do.

    Raises `Unusable` where it cannot be read at all.
    """
    once = [name for name in header.names if name and header.names.count(name) == 1]
    known = {} if header.none else dict(zip(_WORDS, sorted(once, key=is_known, reverse=True), strict=False))
    wrong: Unusable | None = None
    for each in header.stated():
        keys = stated | each
        block = Points.model_validate({"files": (shown,), "columns": Columns(**known), "decimal": ".", **keys})
        try:
            dialect = find_dialect(path, block)
        except Unusable as error:
            wrong = wrong or error
            continue
        if dialect.header_line == header.line and len(dialect.names) == _width(header.names):
            return keys, dialect
    raise wrong or Unusable(header.above + 1, "the header cannot be recognised")


def _width(names: list[str]) -> int:
    """Return how many columns a header has, empty ones at its end left out."""
    return max((place for place, name in enumerate(names, start=1) if name), default=0)


def _written(found: Dialect, why: str) -> str:
    sign = {"\t": "a tab", ",": "','", ";": "';'", "|": "'|'"}.get(found.delimiter, f"'{found.delimiter}'")
    header = "" if found.header_line == 1 else f", header on line {found.header_line}"
    return f"{why}, {sign} between the columns{header}"


def _encoding(path: Path, page: str | None) -> tuple[str | None, str, CodePages | None]:
    """Return the encoding to state, None where the reader finds it, what to say of it, and code pages if several do."""
    marked, mark = encoding_of(path, None)
    with path.open("rb") as file:
        head = file.read(BYTES)
    if mark:
        return None, f"{marked.upper()} by its mark", None
    if (wide := _wide(head)) is not None:
        return wide, "UTF-16", None
    head = head[: head.rfind(b"\n") + 1 or len(head)]
    try:
        head.decode("utf-8")
        return None, "UTF-8", None
    except UnicodeDecodeError:
        pages = code_pages(head, _known_in)
        pages = None if pages is None else pages.first(page)
        best = _PLAINEST if pages is None else pages.names[0]
        return best, f"{best}, as it is not UTF-8", pages


#: The share of every other byte that is NUL, at least, in a text of two bytes a sign; and of how many of these there
#: are, at most, among the others: a stray NUL, or what pads the end of a file, makes no such text.
_WIDE, _OTHERS = 0.2, 0.25


def _wide(head: bytes) -> str | None:
    """Return which UTF-16 a text without a mark is in; None where it is in none."""
    text = head.rstrip(b"\0")
    even, odd = text[::2].count(0), text[1::2].count(0)
    most, least = max(even, odd), min(even, odd)
    if not text or most < _WIDE * len(text) / 2 or least > _OTHERS * most:
        return None
    return "utf-16-le" if odd > even else "utf-16-be"


def _known_in(text: str) -> int:
    first = text.splitlines()[:LINES]
    return max((sum(map(is_known, line.split(sign))) for line in first for sign in _DELIMITERS), default=0)


def _beginning(path: Path, encoding: str | None) -> list[bytes]:
    try:
        return [line for block in islice(blocks(path, encoding, BYTES), 1) for line in block.split(b"\n")]
    except UnicodeDecodeError as error:
        what = f"its encoding cannot be recognised: it is neither UTF-8 nor {encoding}"
        raise Unusable(1, what, "save it with the encoding UTF-8, and run `tiedown new` again") from error


def _header(lines: list[bytes]) -> tuple[int | None, str]:
    """Return which line names most columns that are known (else the first with most cells), and its delimiter.

    Blanks part columns only where no other sign does: headings may have some within.
    """
    sep = re.match(rb'"?sep=([^\n"])', lines[0], re.IGNORECASE) if lines else None
    if sep is not None:
        return _likeliest(lines, (sep[1].decode("utf-8", "replace"),), 1)[:2]
    at, sign, worth = _likeliest(lines, _DELIMITERS, 0)
    if worth[0] >= _HEADINGS or (not worth[0] and worth[1] > _HEADINGS):
        return at, sign
    other, blanks, apart = _likeliest(lines, (BLANKS,), 0)
    return (other, blanks) if apart > worth else (at, sign)


def _likeliest(lines: list[bytes], signs: Sequence[str], first: int) -> tuple[int | None, str, tuple[int, int]]:
    """Return the likeliest header below the first lines, its delimiter, and how many known and other names it has."""
    best, found, sign = (0, 0), None, ","
    for at, line in enumerate(lines):
        for delimiter in signs if line.strip() and at >= first else ():
            names = _cells(line, delimiter)
            worth = (len({bare(name) for name in names if is_known(name)}), len(names))
            wider = not best[0] and worth[1] > best[1] and _may_head(lines, at, delimiter, len(names))
            plainer = worth[0] == best[0] and found is not None and _is_remark(lines[found]) and not _is_remark(line)
            if worth[0] >= max(_HEADINGS, best[0] + (0 if plainer else 1)) or wider:
                best, found, sign = worth, at, delimiter
    return found, sign, best


#: What begins a comment in texts of any program.
_REMARKS = (b"#", b"%", b";", b"//", b"!")


def _is_remark(line: bytes) -> bool:
    return line.lstrip(b" \t").startswith(_REMARKS) and not _is_heading(line)


def _sign_before(lines: Sequence[bytes], at: int, delimiter: str) -> str:
    """Return the sign of a comment, apart from the first name, that makes a header one cell wider than its rows; ""."""
    names = _cells(lines[at], delimiter) if delimiter == BLANKS else []
    if not names or names[0].encode() not in _REMARKS or names[0].encode() == _SIGN:
        return ""
    below = next((line for line in lines[at + 1 :] if line.strip() and not _is_remark(line)), b"")
    return names[0] if len(_cells(below, delimiter)) == len(names) - 1 else ""


def _may_head(lines: Sequence[bytes], at: int, delimiter: str, width: int) -> bool:
    """Tell whether a line of unknown names may be the header: none that is a comment, unless rows are as wide."""
    if not _is_remark(lines[at]):
        return True
    below = next((line for line in lines[at + 1 :] if line.strip() and not _is_remark(line)), b"")
    return len(_cells(below, delimiter)) == width


def _cells(line: bytes, delimiter: str) -> list[str]:
    line = line.lstrip(b" \t").removeprefix(_SIGN) if _is_comment(line) and not _is_heading(line) else line
    if delimiter == BLANKS:
        return line.decode("utf-8", "replace").split()
    try:
        return [cell.decode("utf-8", "replace").strip() for cell in cells(line, delimiter.encode())]
    except (Stray, Unclosed):
        return []


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
    if sum(map(is_known, sheet.schema.names)) < _HEADINGS and (raw := _first(sheet.batches)) is not None:
        texts = [_as_text(column) for column in raw.columns.values()]
        count = [sum(is_known(text[at]) for text in texts) for at in range(min(len(raw.row), LINES))]
        if max(count, default=0) >= _HEADINGS:
            keys = {"header": int(raw.row[count.index(max(count))])}
    sheet = open_sheet(path, Points.model_validate({"files": (shown,), "layer": layers, **keys}), ROWS)
    dated = frozenset(field.name for field in sheet.schema if pa.types.is_timestamp(field.type))
    columns = _texts(_first(sheet.batches), tuple(sheet.schema.names))
    written = f"a spreadsheet, header in row {sheet.header_line}"
    twice = any(re.sub(r"_\d+$", "", name) in set(sheet.schema.names) - {name} for name in sheet.schema.names)
    keys |= {"header": sheet.header_line} if twice else {}  # columns by their numbers need it
    return FileLook(
        path, shown, columns, sheet.header_line, keys, twice, written, layer, layer is not None, dated=dated,
        form="workbook",
    )  # fmt: skip


def _vector(path: Path, shown: str, layer: str | None, *, several: bool) -> FileLook:
    points = Points(files=(shown,), layer=None if layer is None else (layer,))
    with open_layer(path, layer, points, ROWS, hashlib.sha256()) as opened:
        raw = _first(opened.batches)
        names = tuple(opened.schema.names)
        dated = frozenset(field.name for field in opened.schema if pa.types.is_timestamp(field.type))
        crs = opened.crs
    place, no_place = None, ""
    if raw is not None and raw.geometry is not None:
        place = (raw.geometry.x, raw.geometry.y, raw.geometry.z)
        no_place = _no_place(raw.geometry)
    return FileLook(
        path,
        shown,
        _texts(raw, names),
        written="GeoJSON" if layer is None else f"GeoPackage, layer {layer}",
        layer=layer if several else None,
        several_layers=several,
        crs=crs,
        place=place,
        no_place=no_place,
        dated=dated,
        form="geojson" if layer is None else "gpkg",
    )


def _no_place(geometry: Geometry) -> str:
    """Return why the first geometry that is there and no point cannot be used, "" where all can or there are none."""
    broken = geometry.broken.drop_null().to_pylist() if geometry.broken is not None else []
    if broken:
        return str(broken[0])
    return "the geometry is not a point: export a layer of points" if geometry.other.any() else ""


def _first(batches: Iterator[Raw]) -> Raw | None:
    """Return the first batch that has rows."""
    return next((raw for raw in batches if len(raw.row)), None)


def _texts(raw: Raw | None, names: tuple[str, ...]) -> dict[str, list[str]]:
    if raw is None:
        return {name: [] for name in names}
    return {name: _as_text(raw.columns[name].slice(0, ROWS)) for name in names if name in raw.columns}


def _as_text(column: pa.Array) -> list[str]:
    text = column if pa.types.is_string(column.type) else pc.cast(column, pa.string())
    return [value or "" for value in text.to_pylist()]
