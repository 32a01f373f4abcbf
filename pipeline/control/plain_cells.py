"""Cells of a register that are no plain numbers, made plain: degree signs, hemispheres, units, parted thousands."""

import re
from collections.abc import Mapping

import pyarrow as pa

from pipeline.control.register_rows import POSITION, headings_of, note_ambiguous
from pipeline.files.angles import decimal_degrees
from pipeline.files.letter_o import with_west
from pipeline.files.no_values import is_no_value
from pipeline.files.sheet import Sheet
from pipeline.files.written_numbers import plain_lengths, plain_signs, ungrouped, without_axis
from pipeline.geodesy.unit_words import says_metres
from pipeline.geodesy.units import Lengths
from pipeline.problems import Problems
from pipeline.replace import replace

_LETTERS = {"longitude": "EW", "latitude": "NS"}
#: Letters of axes that may stand beside lengths, where these count to the east and north.
_AXES = {"easting": "E", "northing": "N"}
#: A number with a separator between thousands that may be a decimal sign elsewhere, by the sign.
_GROUPED = {",": re.compile(r"[^,]*\d,(?:\d{2},)*\d{3}[,.].*"), ".": re.compile(r"[^.]*\d\.\d{3}[.,].*")}
_ONE_GROUP = {sign: re.compile(rf"[+-]?\d{{1,3}}\{sign}\d{{3}}") for sign in _GROUPED}


def plainly_written(sheet: Sheet, columns: tuple[str, str, str], lengths: Lengths, problems: Problems) -> Sheet:
    """Return a register's table with plain numbers where that is sure; the same one where nothing is to be done.

    ``lengths`` are what its numbers count in: a unit behind one that is another stays, and is then no number. Notes
    numbers that other cells make ambiguous: 412,350 beside 1,012.350. A height that says that there is none, as "-"
    does, is empty then.
    """
    east, north, _ = lengths.signs
    meant = {columns[2]: lengths.up, "hu95": lengths.other, "vu95": lengths.other}
    if columns[:2] == POSITION["projected"]:
        meant |= {columns[0]: lengths.plan * east, columns[1]: lengths.plan * north}
    changed = {column: _plain(sheet, column, meant) for column in (*columns, "hu95", "vu95")}
    changed = {column: cells for column, cells in changed.items() if cells}
    if not changed:
        return sheet
    _check_thousands(sheet, columns, problems)
    rows = [
        (line, cells | {column: plain[at] for column, plain in changed.items() if at in plain})
        for at, (line, cells) in enumerate(sheet.rows)
    ]
    return replace(sheet, rows=tuple(rows))


def _plain(sheet: Sheet, column: str, meant: Mapping[str, float]) -> dict[int, str]:
    """Return the plain text of each cell of a column that is no number as it stands and can be made one, by its row."""
    texts = [cells.get(column, "") for _, cells in sheet.rows]
    odd = {at: text for at, text in enumerate(texts) if text and sheet.number(text) is None}
    if not odd:
        return {}
    cells = pa.array(list(odd.values()), pa.string())
    if column in _LETTERS:
        if column == "longitude":
            cells = with_west(cells, headings_of(sheet))
        degrees, unread = decimal_degrees(cells, _LETTERS[column])
        sign = "." if sheet.point else ","
        found = ["" if bad else repr(float(one)).replace(".", sign) for one, bad in zip(degrees, unread, strict=True)]
    else:
        if column in _AXES and meant[column] > 0.0:
            cells = without_axis(cells, _AXES[column])
        plain = plain_lengths(plain_signs(cells), lambda unit: says_metres(unit, meant[column]))
        found = ungrouped(ungrouped(plain, "."), ",").to_pylist()
    plainly = {at: text for at, text in zip(odd, found, strict=True) if text and sheet.number(text) is not None}
    if column not in ("height", "ellipsoid_height"):
        return plainly
    return plainly | {at: "" for at, text in odd.items() if is_no_value(text)}


def _check_thousands(sheet: Sheet, columns: tuple[str, str, str], problems: Problems) -> None:
    """Note numbers such as 412,350 in a table where the comma parts thousands elsewhere; likewise with a point."""
    written = [(line, column, cells.get(column, "")) for line, cells in sheet.rows for column in columns]
    for sign, grouped in _GROUPED.items():
        parted = next((text for _, _, text in written if grouped.fullmatch(text)), None)
        for line, column, text in written if parted is not None else ():
            if _ONE_GROUP[sign].fullmatch(text):
                note_ambiguous(
                    (sheet.shown, line),
                    column,
                    text,
                    f"other numbers have separators between thousands, as '{parted}' has",
                    "write all of its numbers in plain digits with a decimal point",
                    problems,
                )
