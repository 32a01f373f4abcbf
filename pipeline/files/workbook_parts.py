"""The parts of a spreadsheet, a packed file of XML, looked at before a library reads them: bounded, odd cells found.

The library gives values, and says neither that a formula has none nor that a cell is merged or a row hidden.
"""

import posixpath
import re
import zipfile
import zlib
from collections.abc import Iterator
from typing import IO
from xml.parsers import expat

from msgspec import Struct, field

from pipeline.limits import CELLS, COLUMNS, MERGED, WORKBOOK, WORKBOOK_CELLS, WORKBOOK_PART, WORKBOOK_PARTS
from pipeline.words import counted

#: Row and column of a cell, counted from 1.
Cell = tuple[int, int]

#: What a packed file of any wrong form makes `zipfile` and its decoders raise.
BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError)

_CHUNK = 1 << 20
_AS_CSV = "save the sheet as .csv, or split its rows among several files"
_LARGE = re.compile(r"xl/(?:worksheets/[^/]+|sharedStrings)\.xml", re.IGNORECASE)
_CELL = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7})")


class BrokenWorkbook(Exception):
    """A spreadsheet that cannot be read, or is not read: what, what to do, and the row that it is about."""

    def __init__(self, what: str, fix: str = "", row: int = 0) -> None:
        self.what, self.fix, self.row = what, fix, row
        super().__init__(what)


class SheetLook(Struct):
    """What a look at one sheet finds.

    Args:
        filled: rows with a value; ``last`` the last of them and ``width`` the last column with one.
        unsaved: cells with a formula for which no value is stored.
        hidden: rows that are not shown.
        merged: cells that are merged into another, with that one.
    """

    filled: int = 0
    last: int = 0
    width: int = 0
    unsaved: set[Cell] = field(default_factory=set)
    hidden: set[int] = field(default_factory=set)
    merged: dict[Cell, Cell] = field(default_factory=dict)


def cell_name(row: int, column: int) -> str:
    """Return a cell as a sheet calls it: (5, 28) is AB5."""
    letters = ""
    while column:
        column, letter = divmod(column - 1, 26)
        letters = chr(65 + letter) + letters
    return f"{letters}{row}"


def check_parts(package: zipfile.ZipFile) -> None:
    """Raise `BrokenWorkbook` where a spreadsheet has more, or larger, parts than one is read with, or other kinds."""
    parts = package.infolist()
    if len(parts) > WORKBOOK_PARTS:
        raise BrokenWorkbook(f"it has {counted(len(parts), 'part')}, and the maximum is {WORKBOOK_PARTS:,}")
    written = [part for part in parts if part.filename.lower().endswith((".xml", ".rels"))]
    for part in written:
        if part.file_size > WORKBOOK_PART and not _LARGE.fullmatch(part.filename):
            what = f"its part {part.filename} has more than {WORKBOOK_PART >> 20} MB unpacked"
            raise BrokenWorkbook(what, "export it again, without styles and pictures")
    if sum(part.file_size for part in written) > WORKBOOK:
        what = f"it has more than {WORKBOOK >> 20} MB unpacked"
        raise BrokenWorkbook(what, _AS_CSV)
    for part in written:
        if not part.filename.lower().startswith("xl/worksheets/sheet"):  # which are looked at one by one
            with package.open(part) as opened:
                _parsed(opened, _parser())


def sheet_parts(package: zipfile.ZipFile) -> dict[str, str]:
    """Return the part of each sheet that holds cells, by the sheet's relation in the workbook."""
    try:
        with package.open("xl/_rels/workbook.xml.rels") as opened:
            found: dict[str, str] = {}
            parser = _parser()

            def start(name: str, given: dict[str, str]) -> None:
                if name.rpartition(":")[2] == "Relationship" and given.get("Type", "").endswith("/worksheet"):
                    target = given.get("Target", "")
                    found[given.get("Id", "")] = posixpath.normpath(posixpath.join("xl", target)).removeprefix("/")

            parser.StartElementHandler = start
            _parsed(opened, parser)
            return found
    except KeyError:
        return {}


def look_at(package: zipfile.ZipFile, part: str, size: int) -> SheetLook:
    """Look at the cells of one sheet; ``size`` is that of the packed file."""
    looker = _Looker(size)
    parser = _parser()
    parser.StartElementHandler, parser.EndElementHandler = looker.start, looker.end
    parser.CharacterDataHandler = looker.text
    with package.open(part) as opened:
        _parsed(opened, parser)
    return looker.found


class _Looker:
    """Takes the elements of a sheet one after the other."""

    def __init__(self, size: int) -> None:
        self.found, self.size = SheetLook(), size
        self.row = self.column = self.cells = 0
        self.formula = self.value = self.within = False
        self.filled_row = self.merges = 0

    def start(self, name: str, given: dict[str, str]) -> None:
        kind = name.rpartition(":")[2]
        if kind == "c":
            match = _CELL.fullmatch(given.get("r", ""))
            self.column = _number(match[1]) if match else self.column + 1
            self.formula = self.value = False
            self.cells += 1
            if self.cells > WORKBOOK_CELLS:
                raise BrokenWorkbook(
                    f"a sheet of it has more than {counted(WORKBOOK_CELLS, 'cell')}", _AS_CSV, self.row
                )
        elif kind == "row":
            told = given.get("r", f"{self.row + 1}")
            if not told.isdecimal() or len(told) > 7 or int(told) <= self.row:
                raise BrokenWorkbook(f'a row is numbered "{told:.20}" below row {self.row}', "save it again as .xlsx")
            self.row, self.column = int(told), 0
            if given.get("hidden") in ("1", "true"):
                self.found.hidden.add(self.row)
        elif kind == "f":
            self.formula = True
        elif kind in ("v", "t"):
            self.within = True
        elif kind == "mergeCell":
            self._merge(given.get("ref", ""))

    def text(self, _: str) -> None:
        self.value |= self.within

    def end(self, name: str) -> None:
        kind = name.rpartition(":")[2]
        if kind in ("v", "t"):
            self.within = False
        elif kind == "c":
            if self.value:
                self._note()
            elif self.formula:
                self._note()
                self.found.unsaved.add((self.row, self.column))

    def _note(self) -> None:
        found = self.found
        found.filled += self.row != self.filled_row
        self.filled_row = self.row
        found.last, found.width = max(found.last, self.row), max(found.width, self.column)
        if found.width > COLUMNS:
            what = f"it has {counted(found.width, 'column')}; the maximum is {COLUMNS:,}"
            raise BrokenWorkbook(what, "delete the columns that are not needed", self.row)
        if found.last * found.width > CELLS + self.size:
            what = (
                f"its cells spread over {counted(found.last, 'row')} and {counted(found.width, 'column')}, nearly"
                " all empty"
            )
            raise BrokenWorkbook(what, _AS_CSV, self.row)

    def _merge(self, reference: str) -> None:
        """Note the cells of a merged range among the filled rows, which stand above it in the file."""
        ends = [_CELL.fullmatch(end) for end in reference.split(":")]
        if len(ends) != 2 or ends[0] is None or ends[1] is None:
            return
        (left, top), (right, bottom) = ((_number(end[1]), int(end[2])) for end in ends if end)
        found = self.found
        rows, columns = range(top, min(bottom, found.last) + 1), range(left, min(right, found.width) + 1)
        self.merges += 1
        if self.merges > MERGED or len(rows) * len(columns) + len(found.merged) > WORKBOOK_CELLS:
            raise BrokenWorkbook("a sheet of it has more merged cells than any table", "take the merged cells apart")
        found.merged.update(((row, column), (top, left)) for row in rows for column in columns)
        found.merged.pop((top, left), None)


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number


def _parser() -> expat.XMLParserType:
    """Return a parser that refuses whatever a spreadsheet's XML has no need of: definitions of types and entities."""
    parser = expat.ParserCreate()
    parser.buffer_text = True

    def refuse(*_: object) -> None:
        raise BrokenWorkbook("its XML defines a type or entities, which no spreadsheet does", "save it again as .xlsx")

    parser.StartDoctypeDeclHandler = refuse
    return parser


def _parsed(opened: IO[bytes], parser: expat.XMLParserType) -> None:
    for chunk in _chunks(opened):
        parser.Parse(chunk, False)
    parser.Parse(b"", True)


def _chunks(opened: IO[bytes]) -> Iterator[bytes]:
    while chunk := opened.read(_CHUNK):
        yield chunk
