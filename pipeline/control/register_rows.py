"""Each row of a register as a mark, with everything that is wrong with it noted at its line."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct, field

from pipeline.files.angles import dms
from pipeline.files.letter_o import west_by, with_west
from pipeline.files.no_values import stands_for_none
from pipeline.files.odd_text import look_of_degrees, look_of_number, why_no_dms
from pipeline.files.sheet import Sheet, number
from pipeline.limits import COORDINATE, HEIGHT, LEAST, SIGMA
from pipeline.near import listed, nearest
from pipeline.problems import Problems
from pipeline.replace import replace
from pipeline.sphere import are_geocentric
from pipeline.words import Holds, plural

#: The columns of a position, by the kind of the register's CRS.
POSITION = {"projected": ("easting", "northing"), "geographic": ("longitude", "latitude")}

#: What bounds in metres are taken times, for registers in feet.
_FEET = 4.0

QUOTE = "'"

#: The other columns of a register.
KNOWN = ("mark", "hu95", "vu95", "holds", "source", "dated")


class Mark(Struct, frozen=True):
    """One row of the register: metres, or degrees and metres; NaN where there is nothing.

    ``others`` are its cells in columns that are none of ours, ``former`` the earlier rows of a revised mark.
    ``by_cells`` is whether it holds what it does because the rest is empty, not because the register says so.
    """

    name: str
    coordinates: tuple[float, float, float]
    holds: Holds
    hu95: float
    vu95: float
    line: int
    written: tuple[str, str, str]
    source: str
    dated: str
    others: Mapping[str, str] = field(default_factory=dict)
    former: "tuple[Mark, ...]" = ()
    by_cells: bool = False


def has_columns(
    sheet: Sheet, columns: tuple[str, str, str], kind: str, stated: Mapping[str, str], problems: Problems
) -> bool:
    """Note the columns that are missing; without a height column every mark must say that it holds position only.

    ``stated`` are the values by which ``[control.columns]`` maps our names of columns.
    """
    needed = ["mark", *columns[:2], *(columns[2:] if "holds" not in sheet.columns else ())]
    missing = [column for column in needed if column not in sheet.columns]
    fixes = {column: _missing_fix(column, sheet.columns, stated) for column in missing}
    takes = f"a register in a {kind} CRS takes mark, {', '.join(columns)}"
    plainly = [column for column in missing if not fixes[column]]
    if len(missing) > 2 and len(plainly) > 1:
        plainly = missing
    if plainly:
        which = f"the {plural(len(plainly), 'column')} {listed(plainly, QUOTE)}"
        fix = f"name the columns so in the first line, which has {listed(sheet.columns, QUOTE)}, or"
        fix += " state which are meant in [control.columns]"
        problems.add(sheet.shown, sheet.header, f"{which} {plural(len(plainly), 'is', 'are')} missing: {takes}", fix)
    for column in missing:
        if column not in plainly:
            problems.add(sheet.shown, sheet.header, f"the column '{column}' is missing: {takes}", fixes[column])
    others = [column for column in sheet.columns if column and column not in (*KNOWN, *columns)]
    for column in others:
        near = nearest(column, [known for known in ("hu95", "vu95", "holds") if known not in sheet.columns], 1)
        if near:
            is_it = f"is it '{near[0]}'" + (", in metres?" if near[0] in ("hu95", "vu95") else "?")
            problems.add(sheet.shown, sheet.header, f"the column '{column}' is not known", is_it)
            missing.append(near[0])
    return not missing


#: What stands in a row of units where there is none, and what a unit has not: any figure.
_NONE, _UNIT = ("", "-"), re.compile(r"\D{1,24}")


#: What to do with marks in X, Y, Z from the earth's centre.
GEOCENTRIC_FIX = "export its marks in a grid, or as longitude, latitude and ellipsoidal height, and name that crs"


class UnitsRow(Struct, frozen=True):
    """A row of units right below a register's heading: its line, and the units by our names of columns."""

    line: int
    units: Mapping[str, str]


def without_units(sheet: Sheet, columns: tuple[str, str, str]) -> tuple[Sheet, UnitsRow | None]:
    """Return a table without a row of units right below its heading, and that row; None where there is none.

    It names no mark, and has words without figures where positions, and heights if there are any, are to be.
    """
    if not sheet.rows:
        return sheet, None
    line, cells = sheet.rows[0]
    bare = {word: cells.get(word, "").strip("[](){}<> ") for word in (*columns, "mark", "hu95", "vu95")}
    said = {word: text for word, text in bare.items() if text not in _NONE}
    if "mark" in said or not set(columns[:2]) <= said.keys() or not all(map(_UNIT.fullmatch, said.values())):
        return sheet, None
    return replace(sheet, rows=sheet.rows[1:]), UnitsRow(line, said)


def _missing_fix(column: str, present: Sequence[str], stated: Mapping[str, str]) -> str:
    if column == "height" and "ellipsoid_height" in present:
        theirs = stated.get("ellipsoid_height", '"ellipsoid_height"')
        above = f"if they are above the height datum that is stated, write height = {theirs} in [control.columns]"
        return f'if these are heights above the ellipsoid, write height = "ellipsoid" in [control]; {above}'
    if column == "ellipsoid_height" and "height" in present:
        datum = 'name the height datum of these heights in [control]: height = "EPSG:..."'
        theirs = stated.get("height", '"height"')
        lines = f'height = "ellipsoid" in [control] and ellipsoid_height = {theirs}'
        return f"{datum}; if they are above the ellipsoid, write both {lines} in [control.columns]"
    for kind, names in POSITION.items():
        if column in ("easting", "northing", "longitude", "latitude") and set(names) <= set(present):
            return f"the columns are those of a {kind} CRS: check crs in [control]"
    near = nearest(column, present, 1)
    if near:
        return f"is it '{near[0]}'?"
    return "if marks hold position only, state it in a column 'holds'" if column.endswith("height") else ""


def check_degrees(sheet: Sheet, columns: tuple[str, str, str], problems: Problems) -> None:
    """GeoJSON's own geometry is longitude and latitude, whatever the register's CRS: not taken for metres."""
    for line, cells in sheet.rows:
        east, north = (number(cells.get(column, "")) for column in columns[:2])
        if east is not None and north is not None and abs(east) <= 360 and abs(north) <= 90:
            problems.add(
                sheet.shown,
                line,
                f"the geometry ({east:g}, {north:g}) is in degrees, but the register's CRS is a projected one",
                "give easting and northing as attributes, or the geometry's crs in [control]",
            )
            return


def has_geocentric_geometry(sheet: Sheet, columns: tuple[str, str, str], problems: Problems) -> bool:
    """Tell whether a layer's own geometry is X, Y, Z from the earth's centre, which is noted once: no row is a mark."""
    rows = [[number(cells.get(column, "")) for column in columns] for _, cells in sheet.rows]
    if not are_geocentric(*np.array(rows, float).reshape(-1, 3).T):
        return False
    what = "the geometry is geocentric X, Y, Z (metres from the earth's centre), which is not supported in a register"
    problems.add(sheet.shown, 0, what, GEOCENTRIC_FIX)
    return True


def check_decimals(sheet: Sheet, columns: tuple[str, str, str], problems: Problems) -> None:
    """Note numbers such as 5.160 in a table that has decimal commas elsewhere: a point may part thousands there."""
    if not sheet.comma:
        return
    written = [(line, column, cells.get(column, "")) for line, cells in sheet.rows for column in columns]
    comma = next((text for _, _, text in written if re.fullmatch(r"[+-]?\d+,\d+", text)), None)
    for line, column, text in written if comma else []:
        if re.fullmatch(r"[+-]?\d{1,3}\.\d{3}", text):
            why = "other numbers have decimal commas"
            fix = f"write all of its numbers as '{comma}' is written, without separators between thousands"
            note_ambiguous((sheet.shown, line), column, text, why, fix, problems)


def note_ambiguous(where: tuple[str, int], column: str, text: str, why: str, fix: str, problems: Problems) -> None:
    """Note a number whose one separator may part thousands or decimals."""
    whole = re.sub("[.,]", "", text)
    problems.add(*where, f"{column} '{text}' is ambiguous ({whole} or {text}?) because {why}", fix)


def angles_of(sheet: Sheet, columns: tuple[str, str, str]) -> Iterator[tuple[float, ...]]:
    """Yield longitude and latitude of each row from degrees, minutes and seconds: NaN: empty, infinite: unreadable."""
    found = []
    for column, letters in zip(columns, ("EW", "NS"), strict=False):
        texts = _texts(sheet, column)
        if column == "longitude":
            texts = with_west(texts, headings_of(sheet))
        degrees, unread = dms(texts, letters)
        found.append(np.where(unread, np.inf, degrees).tolist())
    yield from zip(*found, strict=True)


def west_of(sheet: Sheet) -> tuple[str, ...]:
    """Return the headings by whose language the O of a register's longitudes is the west; () also without an O."""
    return west_by(_texts(sheet, "longitude"), headings_of(sheet))


def headings_of(sheet: Sheet) -> tuple[str, ...]:
    """Return the names of a table's columns as the file has them, as far as that is known."""
    return sheet.headings or sheet.columns


def _texts(sheet: Sheet, column: str) -> pa.Array:
    return pa.array([cells.get(column) or None for _, cells in sheet.rows], pa.string())


def read_mark(
    line: int,
    cells: dict[str, str],
    sheet: Sheet,
    columns: tuple[str, str, str],
    problems: Problems,
    angles: Sequence[float] = (),
) -> Mark | None:
    """Read one row; None where anything is wrong with it, which is then noted.

    ``angles`` are its longitude and latitude where they are not written as plain numbers (see `angles_of`).
    """
    before = len(problems.found)
    name = cells.get("mark", "")
    if not name:
        problems.add(sheet.shown, line, "this row has no mark name", "every mark needs one")
    called = f"mark '{name}'" if name else "this mark"
    plain = columns[len(angles) :]
    numbers = [_angle(*of, cells, (sheet.shown, line), called, problems) for of in zip(columns, angles, strict=False)]
    east, north, up = (*numbers, *(_number(cells, column, line, sheet, called, problems) for column in plain))
    written = (cells.get(columns[0], ""), cells.get(columns[1], ""), cells.get(columns[2], ""))
    stated = cells.get("holds", "")
    holds = _holds(stated, line, sheet.shown, called, problems) if stated else _held_by_cells(written)
    if name.startswith("#") and (name[1:2].isspace() or not any(written)):
        what = f"this row begins with '#': a remark, or a mark called '{name}'?"
        problems.add(sheet.shown, line, what, "delete the row, or remove the #")
    elif holds is not None and name and not any(written):
        what = f"{called} has no {columns[0]}, {columns[1]} or {columns[2]}"
        problems.add(sheet.shown, line, what, "give them, or delete the row if it is not a mark (a total, a remark)")
    elif holds is not None:
        _check_given(written, columns, holds, (sheet.shown, line), called, problems)
    _check_range((east, north, up), columns, (sheet.shown, line), called, problems)
    hu95, vu95 = (_uncertainty(cells, column, line, sheet, called, problems) for column in ("hu95", "vu95"))
    if len(problems.found) > before or holds is None:
        return None
    source, dated = cells.get("source", ""), cells.get("dated", "")
    others = {name: text for name, text in cells.items() if text and name not in (*KNOWN, *columns)}
    by_cells = not stated and holds is not Holds.FULL
    return Mark(name, (east, north, up), holds, hu95, vu95, line, written, source, dated, others, by_cells=by_cells)


def _angle(
    column: str, degrees: float, cells: dict[str, str], where: tuple[str, int], called: str, problems: Problems
) -> float:
    """Return an angle; NaN where it cannot be read, which is then noted."""
    if not math.isinf(degrees):
        return degrees
    text = cells.get(column, "")
    what = f"{called}: {column} '{text}' {why_no_dms(text)}"
    problems.add(*where, what, "such as 36 50 12.345 S; leave angles out of [control] where they are decimal degrees")
    return math.nan


def _number(cells: dict[str, str], column: str, line: int, sheet: Sheet, called: str, problems: Problems) -> float:
    """Return the number in a cell; NaN where it is empty, and where it cannot be read, which is then noted."""
    text = cells.get(column, "")
    value = sheet.number(text)
    if text and value is None:
        look = look_of_degrees if column in POSITION["geographic"] else look_of_number
        problems.add(
            sheet.shown,
            line,
            f"{called}: {column} '{text}' {look(text).without_key}",
            "digits with a decimal point; a decimal comma goes with ';' between the cells",
        )
    return math.nan if value is None else value


def _uncertainty(cells: dict[str, str], column: str, line: int, sheet: Sheet, called: str, problems: Problems) -> float:
    value = _number(cells, column, line, sheet, called, problems)
    if value <= 0.0:
        problems.add(
            sheet.shown,
            line,
            f"{called}: {column} must be more than 0, not {cells[column]}",
            "for a mark that defines the datum use a small value, such as 0.001; leave the cell empty for the default",
        )
    elif value < LEAST or value > SIGMA:
        problems.add(
            sheet.shown,
            line,
            f"{called}: {column} {cells[column]} is not an uncertainty of a mark in metres",
            f"from {LEAST:g} to {SIGMA:g}; leave the cell empty for the default",
        )
    return value


def _held_by_cells(written: tuple[str, str, str]) -> Holds:
    """Return what a mark holds of which the register does not say it: what is there. Half a position is for nothing."""
    if any(written[:2]):
        return Holds.FULL if written[2] or not all(written[:2]) else Holds.POSITION
    return Holds.HEIGHT if written[2] else Holds.FULL


def _holds(text: str, line: int, shown: str, called: str, problems: Problems) -> Holds | None:
    if text.casefold() in tuple(Holds):
        return Holds(text.casefold())
    near = nearest(text, tuple(Holds), 1)
    problems.add(
        shown,
        line,
        f"{called}: holds must be one of {', '.join(Holds)}, not '{text}'",
        f"did you mean '{near[0]}'?" if near else "",
    )
    return None


def _check_given(
    written: tuple[str, str, str],
    columns: tuple[str, str, str],
    holds: Holds,
    where: tuple[str, int],
    called: str,
    problems: Problems,
) -> None:
    """Note what the mark is to hold but does not give, and half a position in any case."""
    position = holds is not Holds.HEIGHT or any(written[:2])
    for needed, column, text in zip((position, position, holds is not Holds.POSITION), columns, written, strict=True):
        if needed and not text:
            other = "position" if column == columns[2] else "height"
            problems.add(
                *where,
                f"{called} has no {column}, but should hold {holds}",
                f"give it, or write {other} in the column 'holds' where the mark holds only that",
            )


def _check_range(
    given: tuple[float, float, float],
    columns: tuple[str, str, str],
    where: tuple[str, int],
    called: str,
    problems: Problems,
) -> None:
    east, north, up = given
    if stands_for_none(up):
        what = f"{called}: {columns[2]} {up:g} stands for no height in many programs"
        problems.add(*where, what, "leave the cell empty where the mark has none")
    for column, value, most in zip(columns, given, (COORDINATE, COORDINATE, HEIGHT), strict=True):
        if abs(value) > most * _FEET:
            problems.add(
                *where, f"{called}: {column} {value:g} is not a place on earth", "check how the number is written"
            )
    if columns[0] != "longitude":
        return
    if abs(north) > 90.0:
        problems.add(
            *where,
            f"{called}: the latitude {north:g} is not within 90 degrees of the equator",
            "longitude and latitude may be swapped, or these are metres",
        )
    if not -180.0 <= east <= 360.0 and not math.isnan(east):
        problems.add(*where, f"{called}: the longitude {east:g} is not between -180 and 360 degrees")
