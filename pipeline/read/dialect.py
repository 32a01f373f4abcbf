"""How a text file is to be read: its encoding, delimiter, decimal mark and header, stated or found by looking."""

import hashlib
import re
from collections import Counter, OrderedDict
from pathlib import Path

import pyarrow as pa
from msgspec import Struct

from pipeline.files.cell_places import CellPlaces, cell_places
from pipeline.files.written_numbers import bare
from pipeline.job.key_values import BLANKS
from pipeline.job.model import Points
from pipeline.limits import COLUMNS
from pipeline.read.delimited_lines import plain_lines, whole_lines
from pipeline.read.findings import Unusable
from pipeline.read.header import by_place, names_of
from pipeline.read.mapping import fitted, mapped_by_name, mapped_by_number, numeric_names, numeric_words, spelling
from pipeline.read.records import Stray, Unclosed, cells
from pipeline.read.text_blocks import blocks, encoding_of
from pipeline.words import counted

_DELIMITERS = (",", ";", "\t", "|")

#: Bytes and lines of the file's beginning that are looked at.
_SAMPLE_BYTES, _SAMPLE_LINES = 256 << 10, 200

#: The first line by which spreadsheets are told the delimiter.
_SEP = re.compile(rb'"?sep=([^\n"]|")"?', re.IGNORECASE)

_WITH_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")
#: What no unit and no separator between thousands can be in.
_PLAIN = re.compile(r"[+-]?\d*[.,]?\d*|[^\d.,]*")
_WITH_POINT = re.compile(r"[+-]?\d*\.\d+(?:[eE][+-]?\d+)?")


#: A run opens each file three times: what was found, by its first lines and what the block states, and how many stay.
_found: OrderedDict[tuple[bytes, str, str], "Dialect"] = OrderedDict()
_KEPT = 64


class Dialect(Struct, frozen=True):
    """A text file's encoding, delimiter and decimal mark, the line of its header and the names in it, in order.

    Rows begin below ``header_line``, which is 0 or the last line stepped over where no line names the columns. With
    ``blanks`` the delimiter, a tab, stands for any run of blanks, and ``places`` tells where the cells stand; a line
    that begins with ``comment`` is no row. ``above`` are the lines above the header.
    """

    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    names: tuple[str, ...]
    blanks: bool = False
    comment: str | None = None
    above: tuple[str, ...] = ()
    places: CellPlaces | None = None


def find_dialect(path: Path, points: Points) -> Dialect:
    """Look at the file's beginning, with what the block states taken as given.

    Lines above the header (a title, comments, sep=;) are stepped over. Raises `Unusable` with the line where there is
    no header, a name that is mapped is in it twice, where lines that may be data stand above it, or where both decimal
    marks occur.
    """
    lines = _first_lines(path, points.encoding, max(points.skip or 0, points.header or 0))
    encoding = encoding_of(path, points.encoding)[0]
    key = (hashlib.sha256(b"\n".join(lines)).digest(), encoding, points.model_dump_json())
    if key not in _found:
        _found[key] = _dialect(lines, encoding, points)
        while len(_found) > _KEPT:
            _found.popitem(last=False)
    return _found[key]


#: One byte of so many is a NUL, at least, in a text of two bytes a sign.
_EVERY_OTHER = 4


def _dialect(lines: list[bytes], encoding: str, points: Points) -> Dialect:
    """Return how a file is to be read that begins with these lines."""
    skip = points.skip or 0
    stated, sep = _stated(lines, points)
    skip = max(skip, sep)
    wanted = frozenset(map(spelling, mapped_by_name(points.columns).values()))
    first = skip - 1 if points.header == 0 else _header_line(lines, skip, points, stated, wanted)
    lines = whole_lines(lines)
    sample = [line for line in _without_comments(lines[first + 1 :], points.comment) if line.strip()][:_SAMPLE_LINES]
    header = b"" if points.header == 0 else _uncommented(lines[first], points.comment)
    if b"\0" in header:
        wide = header.count(0) * _EVERY_OTHER >= len(header)
        fix = 'state its encoding, such as encoding = "utf-16-le"' if wide else "export it again, or remove them"
        raise Unusable(first + 1, "the header has NUL bytes", fix)
    if not header and not sample:
        raise Unusable(1, "the file is empty: it has no rows")
    for sign in (stated,) if stated else _DELIMITERS:
        _check_width(header or sample[0], sign, first + 1)
    delimiter = stated or _delimiter(header, sample, wanted, points)
    rows = [row for row in (_split(line, delimiter) for line in sample) if row]
    over = _split(lines[first - 1], delimiter) if first > 0 else []
    names = (
        names_of(_headings(header, delimiter, over, rows), first + 1, wanted) if header else by_place(map(len, rows))
    )
    numeric = numeric_names(fitted(points, names))
    numbers = {name: place for place, name in enumerate(names) if name in numeric}
    decimal = points.decimal or _decimal(rows, numbers, first + 2)
    blanks = delimiter == BLANKS
    sign = "\t" if blanks else delimiter
    above = tuple(line.decode("utf-8", "replace").strip() for line in lines[: max(first, 0)])
    places = cell_places(_in_place(header, lines[first]) if header else b"", sample, len(names)) if blanks else None
    return Dialect(encoding, sign, decimal, first + 1, names, blanks, points.comment, above, places)


def _in_place(header: bytes, line: bytes) -> bytes:
    """Return a header as it stands in its line, with blanks for the sign of a comment before it."""
    return b" " * (len(line) - len(header)) + header


def _headings(header: bytes, delimiter: str, over: list[str], rows: list[list[str]]) -> list[str]:
    """Return the cells of a header; empty ones at its end get names of their places where they head a column.

    They do as far as the line ``over`` it has names, or most rows have values: a heading may have two lines.
    """
    names = _split(header, delimiter)
    named = max((place for place, name in enumerate(names, start=1) if name), default=0)
    if not 0 < named < len(names):
        return names
    held = [sum(place <= len(row) and bool(row[place - 1]) for row in rows) for place in range(1, len(names) + 1)]
    last = max((place for place, count in enumerate(held, start=1) if 2 * count > len(rows)), default=0)
    if last <= named:
        return names
    last = max(last, *(place for place, name in enumerate(over[: len(names)], start=1) if name), 0)
    return [name or (f"column_{place}" if named < place <= last else "") for place, name in enumerate(names, start=1)]


def _first_lines(path: Path, encoding: str | None, beyond: int) -> list[bytes]:
    """Return the first lines; of a file that is cut here the last one may be cut too, so it is left out."""
    lines: list[bytes] = []
    for block in blocks(path, encoding, _SAMPLE_BYTES):
        lines.extend(block.split(b"\n")[:-1])
        if len(lines) > beyond + _SAMPLE_LINES and any(line.strip() for line in lines[beyond:]):
            break
    return lines


def _stated(lines: list[bytes], points: Points) -> tuple[str | None, int]:
    """Return the delimiter that the block states, or the file by a first line such as sep=;, and if that is there."""
    found = _SEP.fullmatch(lines[0].rstrip(b" ,;\t") if len(lines[0]) > len(b"sep=;") else lines[0]) if lines else None
    if found is None:
        return points.delimiter, 0
    sign = found[1].decode("utf-8", "replace")
    if points.delimiter not in (None, sign):
        what = f'the first line says "sep={sign}", but delimiter = "{points.delimiter}" is stated'
        raise Unusable(1, what, "state the one that the file has, or omit the key")
    return sign, 1


def _header_line(begun: list[bytes], skip: int, points: Points, delimiter: str | None, wanted: frozenset[str]) -> int:
    """Return which of the first lines is the header: as stated, or found below those that are stepped over.

    ``begun`` are the lines as they stand in the file. Of a header that goes over several it is the last.
    """
    lines = whole_lines(begun)
    if points.header is None:
        found = _header(lines, skip, delimiter, wanted, points.comment)
        if found is None:
            raise Unusable(1, "the file is empty: it has no header")
        return found
    below = next((at for at, line in enumerate(lines[points.header - 1 :]) if line.strip()), 0)
    if below > 0 and begun[points.header - 1].strip():  # a cell in quotes goes over several lines
        return points.header - 1 + below
    if points.header > len(lines) or not lines[points.header - 1].strip():
        what = f"header = {points.header} is stated, but that line is empty"
        raise Unusable(min(points.header, len(lines)), what, "lines are counted from 1, empty ones included")
    return points.header - 1


def _is_comment(line: bytes, comment: str | None) -> bool:
    return comment is not None and line.lstrip(b" \t").startswith(comment.encode())


def _without_comments(lines: list[bytes], comment: str | None) -> list[bytes]:
    return lines if comment is None else [line for line in lines if not _is_comment(line, comment)]


def _uncommented(line: bytes, comment: str | None) -> bytes:
    """Return a line that names the columns without the sign of a comment before them."""
    return line.lstrip(b" \t").removeprefix(comment.encode()) if comment and _is_comment(line, comment) else line


def _header(
    lines: list[bytes], skip: int, delimiter: str | None, wanted: frozenset[str], comment: str | None
) -> int | None:
    """Return which of the first lines is the header: the one that names most of the wanted columns, or the first.

    Raises `Unusable` where a line above it has as many cells as it has: that may be a row, which must not be lost.
    """
    looked_at = enumerate(lines[skip : skip + _SAMPLE_LINES], start=skip)
    filled = [index for index, line in looked_at if line.strip()]
    if not filled:
        return None
    signs = (delimiter,) if delimiter else (*_DELIMITERS, BLANKS)

    def named_by(index: int) -> tuple[int, str]:
        line = _uncommented(lines[index], comment)
        return max((len(wanted.intersection(map(spelling, _split(line, sign)))), sign) for sign in signs)

    plain = [index for index in filled if not _is_comment(lines[index], comment)]
    found, header = 0, (plain or filled)[0]
    for index in filled:
        count, _ = named_by(index)
        if count > found:
            found, header = count, index
        if found == len(wanted):
            break
    above = [index for index in plain if index < header]
    if not above:
        return header
    sign = named_by(header)[1]
    cells_of_header = len(_split(_uncommented(lines[header], comment), sign))
    for index in above:
        if len(_split(lines[index], sign)) >= cells_of_header:
            what = f"the column names are here, below lines that may be rows (line {index + 1})"
            raise Unusable(header + 1, what, f"state header = {header + 1} if not, else put the header first")
    return header


def _split(line: bytes, delimiter: str) -> list[str]:
    """Return the cells of a line without the spaces around them; none where its quotes are not clear, or too many."""
    if delimiter == BLANKS:
        line, delimiter = plain_lines(line, None, True), "\t"
    sign = delimiter.encode()
    if line.count(sign) >= COLUMNS:
        line = line.rstrip(b" " + sign)  # a spreadsheet's empty columns
        if line.count(sign) >= COLUMNS:
            return []
    if b'"' not in line:
        return [cell.strip() for cell in line.decode("utf-8").split(delimiter)]
    try:
        return [cell.decode("utf-8").strip() for cell in cells(line, sign)]
    except (Stray, Unclosed):
        return []


def _delimiter(header: bytes, sample: list[bytes], wanted: frozenset[str], points: Points) -> str:
    """Choose by the mapped names found, then by how many rows have as many cells as the header, then by cells."""
    if not header:
        return _delimiter_of_rows(sample, points)
    names = {sign: _split(header, sign) for sign in (*_DELIMITERS, BLANKS)}
    in_it = {sign: (len(wanted.intersection(map(spelling, found))), len(found) > 1) for sign, found in names.items()}
    likely = [sign for sign in _DELIMITERS if in_it[sign] == max(in_it[each] for each in _DELIMITERS)]
    if in_it[BLANKS] > in_it[likely[0]]:
        return BLANKS
    if len(likely) == 1:  # mostly: the rows need not be split by every sign
        return likely[0]

    def worth(delimiter: str) -> tuple[int, int]:
        counts = Counter(len(_split(line, delimiter)) for line in sample)
        return sum(counts[len(names[delimiter]) + surplus] for surplus in (0, 1)), len(names[delimiter])

    return max(likely, key=worth)


def _delimiter_of_rows(sample: list[bytes], points: Points) -> str:
    """Choose, where no line names the columns, by how many numbers stand in the places where they are to be."""
    places = [place - 1 for word, place in mapped_by_number(points.columns).items() if word in numeric_words(points)]

    def worth(delimiter: str) -> tuple[int, int]:
        rows = [_split(line, delimiter) for line in sample]
        found = [row[place] for row in rows for place in places if place < len(row)]
        whole = sum(bool(_WITH_COMMA.fullmatch(text) or _WITH_POINT.fullmatch(text)) for text in found)
        return whole, max(Counter(map(len, rows)).values(), default=0)

    return max((*_DELIMITERS, BLANKS), key=worth)


def _check_width(header: bytes, delimiter: str, line: int) -> None:
    """Refuse a header with more columns than an export may have; a spreadsheet's empty ones do not count."""
    sign = delimiter.encode()
    columns = len(header.split()) if delimiter == BLANKS else header.rstrip(b" " + sign).count(sign) + 1
    if columns > COLUMNS:
        what = f"the header has {counted(columns, 'column')}; the limit is {COLUMNS:,}"
        raise Unusable(line, what, "export it without the columns that are not needed")


def _decimal(rows: list[list[str]], numeric: dict[str, int], line: int) -> str:
    found = _plainly([(name, row[place]) for row in rows for name, place in numeric.items() if place < len(row)])
    commas = [(name, text) for name, text in found if "," in text and _WITH_COMMA.fullmatch(text)]
    if not commas:
        return "."
    points = [(name, text) for name, text in found if _WITH_POINT.fullmatch(text)]
    if not points:
        return ","
    (one, comma), (other, point) = commas[0], points[0]
    what = f'numbers with a decimal comma ("{comma}") and with a decimal point ("{point}")'
    if {name for name, _ in commas}.isdisjoint(name for name, _ in points):
        what += f', in the columns "{one}" and "{other}"'
        raise Unusable(line, what, "export all columns with the same decimal sign")
    raise Unusable(line, what, 'state decimal = "," or decimal = "." for this block; the others are held back')


def _plainly(found: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return cells with their columns' names, without the units and the separators between thousands of numbers."""
    if all(_PLAIN.fullmatch(text) for _, text in found):
        return found
    texts: list[str] = bare(pa.array([text for _, text in found], pa.string())).to_pylist()
    return [(name, text) for (name, _), text in zip(found, texts, strict=True)]
