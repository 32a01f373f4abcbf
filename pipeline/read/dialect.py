"""How a text file is to be read: its encoding, delimiter, decimal mark and header, stated or found by looking."""

import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from pipeline.job.model import Points
from pipeline.limits import COLUMNS
from pipeline.read.findings import Unusable
from pipeline.read.mapping import fitted, mapped, numeric_names, spelling
from pipeline.read.records import Stray, Unclosed, cells
from pipeline.read.text import blocks, encoding_of
from pipeline.words import counted

_DELIMITERS = (",", ";", "\t", "|")

#: Bytes and lines of the file's beginning that are looked at.
_SAMPLE_BYTES, _SAMPLE_LINES = 256 << 10, 200

_WITH_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")
_WITH_POINT = re.compile(r"[+-]?\d*\.\d+(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class Dialect:
    """A text file's encoding, delimiter and decimal mark, the line of its header and the names in it, in order."""

    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    names: tuple[str, ...]


def find_dialect(path: Path, points: Points) -> Dialect:
    """Look at the file's beginning, with what the block states taken as given.

    Lines above the header (a title, comments, sep=;) are stepped over. Raises `Unusable` with the line where there is
    no header, a name in it twice, where lines that may be data stand above it, or where both decimal marks occur.
    """
    lines = _first_lines(path, points.encoding)
    wanted = frozenset(map(spelling, mapped(points.columns).values()))
    first = _header(lines, points.delimiter, wanted)
    if first is None:
        raise Unusable(1, "the file is empty: it has no header")
    header, sample = lines[first], [line for line in lines[first + 1 :] if line.strip()][:_SAMPLE_LINES]
    if b"\0" in header:
        raise Unusable(first + 1, "the header has NUL bytes", 'state its encoding, such as encoding = "utf-16-le"')
    for sign in (points.delimiter,) if points.delimiter else _DELIMITERS:
        _check_width(header, sign.encode(), first + 1)
    delimiter = points.delimiter or _delimiter(header, sample, wanted)
    names = _names(header, delimiter, first + 1)
    rows = [row for row in (_split(line, delimiter) for line in sample) if row]
    numeric = numeric_names(fitted(points, names))
    numbers = {name: place for place, name in enumerate(names) if name in numeric}
    decimal = points.decimal or _decimal(rows, numbers, first + 2)
    return Dialect(encoding_of(path, points.encoding)[0], delimiter, decimal, first + 1, names)


def _first_lines(path: Path, encoding: str | None) -> list[bytes]:
    """Return the first lines; of a file that is cut here the last one may be cut too, so it is left out."""
    lines: list[bytes] = []
    for block in blocks(path, encoding, _SAMPLE_BYTES):
        lines.extend(block.split(b"\n")[:-1])
        if len(lines) > _SAMPLE_LINES and any(line.strip() for line in lines):
            break
    return lines


def _header(lines: list[bytes], delimiter: str | None, wanted: frozenset[str]) -> int | None:
    """Return which of the first lines is the header: the one that names most of the wanted columns, or the first.

    Raises `Unusable` where a line above it has as many cells as it has: that may be a row, which must not be lost.
    """
    filled = [index for index, line in enumerate(lines[:_SAMPLE_LINES]) if line.strip()]
    if not filled:
        return None
    signs = (delimiter,) if delimiter else _DELIMITERS

    def named(index: int) -> tuple[int, str]:
        return max((len(wanted.intersection(map(spelling, _split(lines[index], sign)))), sign) for sign in signs)

    found, header = 0, filled[0]
    for index in filled:
        count, _ = named(index)
        if count > found:
            found, header = count, index
        if found == len(wanted):
            break
    if header == filled[0]:
        return header
    sign = named(header)[1]
    cells_of_header = len(_split(lines[header], sign))
    for index in filled[: filled.index(header)]:
        if len(_split(lines[index], sign)) >= cells_of_header:
            what = f"the names of the columns stand here, below lines that may be rows (line {index + 1})"
            raise Unusable(header + 1, what, "put the header first, and take out what stands above it")
    return header


def _split(line: bytes, delimiter: str) -> list[str]:
    """Return the cells of a line without the spaces around them; none where its quotes are not clear, or too many."""
    sign = delimiter.encode()
    if line.count(sign) >= COLUMNS:
        line = line.rstrip(b" " + sign)  # a spreadsheet's empty columns
        if line.count(sign) >= COLUMNS:
            return []
    try:
        return [cell.decode("utf-8").strip() for cell in cells(line, sign)]
    except (Stray, Unclosed):
        return []


def _delimiter(header: bytes, sample: list[bytes], wanted: frozenset[str]) -> str:
    """Choose by the mapped names found, then by how many rows have as many cells as the header, then by cells."""
    names = {sign: _split(header, sign) for sign in _DELIMITERS}
    named = {sign: (len(wanted.intersection(map(spelling, found))), len(found) > 1) for sign, found in names.items()}
    likely = [sign for sign in _DELIMITERS if named[sign] == max(named.values())]
    if len(likely) == 1:  # mostly: the rows need not be split by every sign
        return likely[0]

    def worth(delimiter: str) -> tuple[int, int]:
        counts = Counter(len(_split(line, delimiter)) for line in sample)
        return sum(counts[len(names[delimiter]) + surplus] for surplus in (0, 1)), len(names[delimiter])

    return max(likely, key=worth)


def _check_width(header: bytes, sign: bytes, line: int) -> None:
    """Refuse a header with more columns than an export may have; a spreadsheet's empty ones do not count."""
    columns = header.rstrip(b" " + sign).count(sign) + 1
    if columns > COLUMNS:
        what = f"the header has {counted(columns, 'column')}; {COLUMNS:,} is the most"
        raise Unusable(line, what, "export it without the columns that nobody needs")


def _names(header: bytes, delimiter: str, line: int) -> tuple[str, ...]:
    """Return the header's names; a nameless column between others gets its place as a name, last ones go."""
    names = _split(header, delimiter)
    while names and not names[-1]:
        names.pop()
    if not names:
        raise Unusable(line, "the header cannot be read: no names, or a quote that does not end its cell")
    names = [name or f"column_{place}" for place, name in enumerate(names, start=1)]
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        listed = ", ".join(f'"{name}"' for name in twice)
        raise Unusable(line, f"the header has the same name more than once: {listed}", "give every column its own name")
    return tuple(names)


def _decimal(rows: list[list[str]], numeric: dict[str, int], line: int) -> str:
    found = [(name, row[place]) for row in rows for name, place in numeric.items() if place < len(row)]
    commas = [(name, text) for name, text in found if _WITH_COMMA.fullmatch(text)]
    points = [(name, text) for name, text in found if _WITH_POINT.fullmatch(text)]
    if not (commas and points):
        return "," if commas else "."
    (one, comma), (other, point) = commas[0], points[0]
    what = f'numbers with a decimal comma ("{comma}") and with a decimal point ("{point}")'
    if {name for name, _ in commas}.isdisjoint(name for name, _ in points):
        what += f', in the columns "{one}" and "{other}"'
        raise Unusable(line, what, "export all columns with the same decimal sign")
    raise Unusable(line, what, 'state decimal = "," or decimal = "." for this block: the others are then held back')
