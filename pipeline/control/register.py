"""The register of control marks: what each mark's published coordinates are, what of them is held, and how well.

A register is a CSV, a GeoPackage layer or a GeoJSON file with a row per mark and the columns mark, easting, northing,
height or longitude, latitude, ellipsoid_height; optionally hu95, vu95, holds (3d, position, height), source, dated. The
job file may map other names to these, and say how the file is written (`Form`). Other columns are carried along. In a
GeoPackage or GeoJSON the geometry stands in for coordinate columns that are absent.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline import limits
from pipeline.arrays import Flags, Floats, Integers
from pipeline.control.closing_rows import ClosingRow, without_closing_rows
from pipeline.control.plain_cells import plainly_written
from pipeline.control.register_frame import RegisterFrame
from pipeline.control.register_rows import (
    GEOCENTRIC_FIX,
    POSITION,
    Mark,
    UnitsRow,
    angles_of,
    check_decimals,
    check_degrees,
    has_columns,
    has_geocentric_geometry,
    read_mark,
    west_of,
    without_units,
)
from pipeline.control.revisions import single
from pipeline.control.table_form import AS_OURS, Form
from pipeline.control.table_source import read_source
from pipeline.files.printed_pages import NO_PAGES, Pages
from pipeline.files.sheet import Sheet
from pipeline.geodesy.uncertainty import CIRCLE_95, NORMAL_95
from pipeline.geodesy.units import Lengths
from pipeline.letter_case import one_form
from pipeline.problems import Problems
from pipeline.replace import replace
from pipeline.words import Holds


@dataclass(frozen=True, eq=False)
class Register:
    """The control marks of a job, (R,) of them in the register's order, in the register's own CRS.

    Args:
        shown: the register's path for messages.
        sha256: of the whole file.
        kind: "projected" or "geographic".
        names: the marks.
        first: (R,) easting in metres or longitude in degrees; NaN where it is not given. Likewise ``second``
            (northing or latitude) and ``third`` (height or ellipsoidal height in metres).
        holds: which components of each mark are held; a component that is not may be given all the same.
        sigma_east: (R,) standard uncertainty in metres, from hu95, or the form's ``sigma``; likewise
            ``sigma_north``, and ``sigma_up`` from vu95.
        stated: (R, 2) whether the register states hu95 and vu95.
        lines: the line of each mark, or the number of its feature.
        written: the text of the three coordinates as written, "" where there is none.
        source: where the coordinates come from, in the register's words; likewise ``dated``.
        rows: rows read, those that say a mark again included.
        others: what each mark's row has in other columns, by their names.
        former: the earlier rows of each mark that was revised.
        geometry_crs: the CRS that the file states for its geometry where coordinates come from there; else None.
        unit: metres, or degrees, in one unit of each of the three coordinates as written; below zero where it counts
            to the west, to the south or downwards.
        units_row: the row of units below its heading, None where there is none.
        closing_rows: rows at its end that are no marks, such as a total.
        pages: what else of it is no row, as the headings and titles of a printed register's pages.
        z_of_points: whether the heights are the Z of the file's geometries.
        by_cells: whether each mark holds position or height alone because the cells of the rest are empty.
        west: the headings by whose language the O of its longitudes is read as the west, () where they have no O.
    """

    shown: str
    sha256: str
    kind: str
    names: tuple[str, ...]
    first: Floats
    second: Floats
    third: Floats
    holds: tuple[Holds, ...]
    sigma_east: Floats
    sigma_north: Floats
    sigma_up: Floats
    stated: Flags
    lines: tuple[int, ...]
    written: tuple[tuple[str, str, str], ...]
    source: tuple[str, ...]
    dated: tuple[str, ...]
    rows: int
    geometry_crs: str | None = None
    unit: tuple[float, float, float] = (1.0, 1.0, 1.0)
    others: tuple[Mapping[str, str], ...] = ()
    former: tuple[tuple[Mark, ...], ...] = ()
    units_row: UnitsRow | None = None
    by_cells: tuple[bool, ...] = ()
    closing_rows: tuple[ClosingRow, ...] = ()
    pages: Pages = NO_PAGES
    z_of_points: bool = False
    west: tuple[str, ...] = ()

    @cached_property
    def _positions(self) -> dict[str, int]:
        named = {one_form(name): position for position, name in enumerate(self.names) if not name.isascii()}
        return named | {name: position for position, name in enumerate(self.names)}

    @cached_property
    def holds_position(self) -> Flags:
        """(R,) whether easting and northing, or longitude and latitude, are held."""
        return _fixed([word is not Holds.HEIGHT for word in self.holds], np.bool_)

    @cached_property
    def holds_height(self) -> Flags:
        """(R,) whether the height is held."""
        return _fixed([word is not Holds.POSITION for word in self.holds], np.bool_)

    @cached_property
    def decimals(self) -> Integers:
        """(R, 3) how many decimals each coordinate is written with, none where it is not given."""
        texts = (text.strip().replace(",", ".") for each in self.written for text in each)
        return _fixed([len(text.partition(".")[2]) for text in texts], np.int64).reshape(-1, 3)

    def find(self, name: str) -> int | None:
        """Return the position of the mark called ``name``, blanks around it and the form of accents apart, or None."""
        found = self._positions.get(name.strip())
        return found if found is not None or name.isascii() else self._positions.get(one_form(name.strip()))

    def where(self, position: int) -> tuple[str, int]:
        """Return the file and line of the mark at ``position``."""
        return self.shown, self.lines[position]


def read_register(
    path: Path, frame: RegisterFrame, problems: Problems, *, shown: str | None = None, form: Form = AS_OURS
) -> Register | None:
    """Read the register of control marks.

    Args:
        path: a .csv or .txt, .gpkg, .geojson or .json file.
        frame: in what its coordinates are.
        problems: takes up everything that is wrong, each with its file and line (or its feature's number).
        shown: the path for messages, where it differs.
        form: how it is written, and what its columns are called.

    Returns None where anything is wrong with the register.
    """
    before = len(problems.found)
    shown, kind = shown if shown is not None else str(path), frame.kind
    if kind not in POSITION:
        problems.add(shown, 0, f"a register in a {kind} CRS is not supported", GEOCENTRIC_FIX)
        return None
    columns = frame.columns
    sheet, geometry_crs = read_source(path, shown, columns, problems, form)
    if sheet is None or not has_columns(sheet, columns, kind, form.stated(), problems):
        return None
    sheet, units_row = without_units(sheet, columns)
    sheet, closing = without_closing_rows(sheet, columns)
    if geometry_crs is not None and has_geocentric_geometry(sheet, columns, problems):
        return None
    if geometry_crs is not None and kind == "projected":
        check_degrees(sheet, columns, problems)
    west = west_of(sheet) if kind == "geographic" else ()
    sheet, marks = _plain_marks(sheet, columns, frame.lengths, problems, form.dms and kind == "geographic")
    if not marks:
        problems.add(shown, sheet.header, "there is no mark in this register", "write a row per control mark")
    read = [mark for mark in marks if mark is not None]
    if geometry_crs is not None and frame.lengths.northing_first:
        read = [_exchanged(mark) for mark in read]
    once = single(read, columns, shown, problems)
    if len(problems.found) > before:
        return None
    found = _register(once, sheet, frame, geometry_crs, form.sigma)
    found = replace(found, units_row=units_row, closing_rows=closing, pages=sheet.pages)
    return replace(found, z_of_points=columns[2] in sheet.of_points, west=west)


def _plain_marks(
    sheet: Sheet, columns: tuple[str, str, str], lengths: Lengths, problems: Problems, as_dms: bool
) -> tuple[Sheet, list[Mark | None]]:
    """Return the table, with plain numbers where a row cannot be read without, and what each row holds."""
    noted = Problems()
    marks = list(_marks(sheet, columns, noted, as_dms))
    plain = plainly_written(sheet, columns, lengths, problems) if None in marks else sheet
    if plain is not sheet:
        sheet, noted = plain, Problems()
        marks = list(_marks(sheet, columns, noted, as_dms))
    check_decimals(sheet, columns, problems)
    for each in noted.found:
        problems.add(each.file, each.line, each.what, each.fix)
    return sheet, marks


def _exchanged(mark: Mark) -> Mark:
    """Return a mark of a geometry whose X is the northing and whose Y is the easting."""
    (first, second, up), written = mark.coordinates, mark.written
    return replace(mark, coordinates=(second, first, up), written=(written[1], written[0], written[2]))


def _marks(sheet: Sheet, columns: tuple[str, str, str], problems: Problems, as_dms: bool) -> Iterator[Mark | None]:
    """Yield what each row holds; of rows in which something is wrong there is an end, as nobody reads on."""
    wrong = 0
    angles: Iterator[tuple[float, ...]] = angles_of(sheet, columns) if as_dms else repeat(())
    for (line, cells), angle in zip(sheet.rows, angles, strict=False):
        mark = read_mark(line, cells, sheet, columns, problems, angle)
        yield mark
        wrong += mark is None
        if wrong == limits.WRONG:
            what = f"this is row {wrong:,} with an error; the rows below it were not checked"
            problems.add(sheet.shown, line, what, "check that this is the register, in the expected form")
            return


def listed_marks(path: Path, form: Form = AS_OURS) -> tuple[str, ...]:
    """Return the names in a register, also where something else is wrong with it; none where it is unreadable."""
    sheet, _ = read_source(path, str(path), (*POSITION["projected"], "height"), Problems(), form)
    return () if sheet is None else tuple(dict.fromkeys(filter(None, (cells.get("mark") for _, cells in sheet.rows))))


def _register(
    marks: Sequence[Mark], sheet: Sheet, frame: RegisterFrame, geometry_crs: str | None, unstated: tuple[float, float]
) -> Register:
    coordinates = np.array([mark.coordinates for mark in marks], np.float64).reshape(-1, 3) * frame.units
    hu95 = np.array([mark.hu95 for mark in marks], np.float64) * frame.lengths.other
    vu95 = np.array([mark.vu95 for mark in marks], np.float64) * frame.lengths.other
    horizontal = _fixed(np.where(np.isnan(hu95), unstated[0], hu95 / CIRCLE_95))
    vertical = _fixed(np.where(np.isnan(vu95), unstated[1], vu95 / NORMAL_95))
    return Register(
        shown=sheet.shown,
        sha256=sheet.sha256,
        kind=frame.kind,
        names=tuple(mark.name for mark in marks),
        first=_fixed(coordinates[:, 0]),
        second=_fixed(coordinates[:, 1]),
        third=_fixed(coordinates[:, 2]),
        holds=tuple(mark.holds for mark in marks),
        sigma_east=horizontal,
        sigma_north=horizontal,
        sigma_up=vertical,
        stated=_fixed(~np.isnan(np.column_stack([hu95, vu95])), np.bool_),
        lines=tuple(mark.line for mark in marks),
        written=tuple(mark.written for mark in marks),
        source=tuple(mark.source for mark in marks),
        dated=tuple(mark.dated for mark in marks),
        rows=len(sheet.rows),
        geometry_crs=geometry_crs,
        unit=frame.units,
        others=tuple(mark.others for mark in marks),
        former=tuple(mark.former for mark in marks),
        by_cells=tuple(mark.by_cells for mark in marks),
    )


def _fixed(values: object, kind: type[np.generic] = np.float64) -> NDArray[Any]:
    """Return an array of its own that nothing can write to."""
    array = np.array(values, kind)
    array.setflags(write=False)
    return array
