"""The table of codes: what each code stands for, whether it is a point or a line, and how it is drawn.

It is read by the same readers as the register. Codes are as readings have them, upper and lower case apart.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from msgspec import Struct

from pipeline.control.table_form import Form
from pipeline.control.table_source import read_source
from pipeline.files.sheet import Sheet
from pipeline.files.written_table import Written
from pipeline.issue.record_types import CodeKnown
from pipeline.job.key_values import drawn_layer, readable
from pipeline.job.model import CodesSection
from pipeline.limits import CODES, WRONG
from pipeline.near import listed, nearest, plain
from pipeline.problems import Problems
from pipeline.words import counted

COLUMNS = ("code", "description", "kind", "layer", "colour")

#: What a code's readings may be, and of those what is drawn as a line.
POINT, LINE, AREA = "point", "line", "area"
KINDS = (POINT, LINE, AREA)
LINES = (LINE, AREA)

#: The indices that a colour may have.
_COLOURS = range(1, 256)


class Code(Struct, frozen=True):
    """One row of the table: ``kind``, ``layer`` and ``description`` "", ``colour`` None where nothing is said."""

    code: str
    description: str
    kind: str
    layer: str
    colour: int | None
    line: int

    def recorded(self, readings: int = 0) -> CodeKnown:
        """Return it as the record has it, with how many readings have the code."""
        return {
            "code": self.code,
            "description": self.description,
            "kind": self.kind or None,
            "layer": self.layer or None,
            "colour": self.colour,
            "readings": readings,
        }


@dataclass(frozen=True)
class CodeTable:
    """The table of codes of a job; ``shown`` is its path for messages, ``sha256`` the sum of the whole file."""

    shown: str
    sha256: str
    codes: tuple[Code, ...]

    @cached_property
    def by_code(self) -> dict[str, Code]:
        """The rows by their codes."""
        return {one.code: one for one in self.codes}

    def told(self) -> list[list[str | int | None]]:
        """Return what it says, to be hashed: the order of its rows, and its layout, say nothing."""
        return sorted([one.code, one.description, one.kind, one.layer, one.colour] for one in self.codes)


def form_of(codes: CodesSection) -> Form:
    """Return what the keys of ``[codes]`` say of how the table is written."""
    return Form(
        Written(codes.delimiter, codes.decimal, codes.encoding, layer=codes.layer),
        codes.columns.model_dump(exclude_none=True),
        columns=COLUMNS,
        called_so="a table of codes",
        table="codes",
    )


def read_code_table(path: Path, shown: str, problems: Problems, form: Form) -> CodeTable | None:
    """Read a table of codes from a .csv or .txt, .xlsx, .gpkg, .geojson or .json file.

    ``shown`` is its path for messages, ``form`` how it is written. Returns None where anything is wrong with it, which
    is noted among ``problems`` with its line.
    """
    before = len(problems.found)
    sheet, _ = read_source(path, shown, (), problems, form)
    if sheet is None or not _has_columns(sheet, problems):
        return None
    if len(sheet.rows) > CODES:
        what = f"there are {counted(len(sheet.rows), 'row')}, and the maximum is {counted(CODES, 'code')}"
        problems.add(shown, sheet.rows[CODES][0], what, "check that this is the table of codes")
        return None
    found = list(_codes(sheet, problems))
    if not sheet.rows:
        problems.add(shown, sheet.header, "there is no code in this table", "write a row for each code")
    _check_once(found, shown, problems)
    _check_colours(found, shown, problems)
    return CodeTable(shown, sheet.sha256, tuple(found)) if len(problems.found) == before else None


def _has_columns(sheet: Sheet, problems: Problems) -> bool:
    """Note that there is no column of codes, and columns whose names are nearly those of others that are not there."""
    others = [column for column in sheet.columns if column and column not in COLUMNS]
    if "code" not in sheet.columns:
        near = nearest("code", others, 1)
        fix = f"is it '{near[0]}'? " if near else ""
        fix += f"the columns are {listed(sheet.columns, chr(39))}; state which is meant in [codes.columns]"
        problems.add(sheet.shown, sheet.header, "the column 'code' is missing: a table of codes needs it", fix)
        return False
    absent = [column for column in COLUMNS if column not in sheet.columns]
    misspelled = [(column, near[0]) for column in others if (near := nearest(column, absent, 1))]
    for column, meant in misspelled:
        problems.add(sheet.shown, sheet.header, f"the column '{column}' is not known", f"is it '{meant}'?")
    return not misspelled


def _codes(sheet: Sheet, problems: Problems) -> Iterator[Code]:
    """Yield what each row says; beyond so many wrong ones nobody reads on."""
    wrong = 0
    for line, cells in sheet.rows:
        before = len(problems.found)
        code = _read(line, cells, sheet.shown, problems)
        wrong += len(problems.found) > before
        if wrong == WRONG:
            problems.add(sheet.shown, line, f"this is row {wrong:,} with an error", "check the file's form")
            return
        if code is not None:
            yield code


def _read(line: int, cells: dict[str, str], shown: str, problems: Problems) -> Code | None:
    code = cells.get("code", "")
    if not code:
        problems.add(shown, line, "this row has no code", "write the code, or delete the row")
        return None
    try:
        readable(code)
    except ValueError as error:
        problems.add(shown, line, f"the code '{code}': {error}", "write it as readings have it")
        return None
    kind = plain(cells.get("kind", ""))
    if kind and kind not in KINDS:
        near = nearest(kind, KINDS, 1)
        fix = f"did you mean '{near[0]}'?" if near else f"write one of {', '.join(KINDS)}, or nothing"
        problems.add(shown, line, f"the kind '{cells['kind']}' of the code '{code}' is not known", fix)
    layer, description = cells.get("layer", ""), " ".join(cells.get("description", "").split())
    try:
        drawn_layer(readable(layer))
    except ValueError as error:
        problems.add(shown, line, f"the layer of the code '{code}': {error}", "write it as a drawing may have it")
    colour = _colour(cells.get("colour", ""), code, (shown, line), problems)
    return Code(code, description, kind, layer, colour, line)


def _colour(text: str, code: str, where: tuple[str, int], problems: Problems) -> int | None:
    if not text:
        return None
    if text.isascii() and text.isdigit() and len(text) < 4 and int(text) in _COLOURS:
        return int(text)
    problems.add(
        *where, f"the colour '{text}' of the code '{code}' is not an index from 1 to 255", "write a whole number"
    )
    return None


def _check_once(codes: Sequence[Code], shown: str, problems: Problems) -> None:
    """Note codes that come twice, and those that differ from another in upper and lower case alone."""
    first: dict[str, Code] = {}
    for one in codes:
        other = first.setdefault(plain(one.code), one)
        if other is one:
            continue
        if other.code == one.code:
            what, fix = f"the code '{one.code}' is listed twice, first on line {other.line}", "keep one of the two rows"
        else:
            what = f"the code '{one.code}' differs from '{other.code}' on line {other.line} only in case or blanks"
            fix = "they cannot be distinguished in the field: keep one of them"
        problems.add(shown, one.line, what, fix)


def _check_colours(codes: Sequence[Code], shown: str, problems: Problems) -> None:
    """Note two colours of one layer."""
    first: dict[str, Code] = {}
    for one in codes:
        if not one.layer or one.colour is None:
            continue
        other = first.setdefault(one.layer.casefold(), one)
        if other.colour != one.colour:
            what = f"the layer '{one.layer}' has the colour {other.colour} on line {other.line}, and {one.colour} here"
            problems.add(shown, one.line, what, "a layer has one colour")
