"""Angles in degrees, minutes and seconds, in the many ways in which they are written."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Floats

_NUMBER = r"\d{1,3}(?:\.\d+)?"
_DEGREES = r"(?:°|º|˚|\*|:|d|D|deg|DEG)"
_MINUTES = r"(?:'|′|’|:|m|M|min|MIN)"
_SECONDS = r"(?:\"|″|”|\'\'|′′|’’|sec|SEC)"


def _spelling(degrees: str, minutes: str, no_seconds: str, seconds: str) -> str:
    """Return the pattern of an angle: what ends its degrees, its minutes with and without seconds, its seconds."""
    return (
        rf"^(?P<before>[NSEW]?) ?(?P<sign>[+-]?) ?(?P<deg>\d{{1,3}}){degrees}(?P<min>{_NUMBER})"
        rf"(?:{minutes}(?P<sec>{_NUMBER}){seconds}|{no_seconds})? ?(?P<after>[NSEW]?)$"
    )


#: With signs or spaces between the parts; with d, m and s, where alone a small s means seconds; with hyphens.
_SPELLINGS = (
    _spelling(rf"(?: ?{_DEGREES} ?| )", rf"(?: ?{_MINUTES} ?| )", rf" ?{_MINUTES}", rf"(?: ?{_SECONDS})?"),
    _spelling(" ?d ?", " ?m ?", " ?m", " ?s"),
    _spelling("-", "-", "", ""),
)
_PARTS = ("before", "sign", "deg", "min", "sec", "after")


def dms(cells: pa.Array, letters: str) -> tuple[Floats, Flags]:
    """Return degrees, NaN where empty or unreadable, and the rows that are unreadable.

    ``letters`` are the two hemispheres of the axis, the positive one first ("NS" or "EW"). The sign or the letter is
    the whole angle's, so -0 30 00 is half a degree below zero; both a minus and a letter, minutes or seconds of 60 and
    more, decimal or packed degrees are unreadable. Decimals may stand behind a comma or a point, whatever the other
    numbers of the file have: in an angle a comma can be nothing else.
    """
    text = pc.replace_substring(cells, "−", "-")
    text = pc.replace_substring(text, ",", ".")
    text = pc.replace_substring_regex(pc.utf8_trim_whitespace(text), r"\s+", " ")
    degrees = np.full(len(cells), np.nan)
    unread: Flags = cells.is_valid().to_numpy(zero_copy_only=False)
    for spelling in _SPELLINGS:
        if unread.any():
            values, good = _read(text, spelling, letters)
            degrees = np.where(unread & good, values, degrees)
            unread = unread & ~good
    return degrees, unread


def _read(text: pa.Array, pattern: str, letters: str) -> tuple[Floats, Flags]:
    found = pc.extract_regex(text, pattern)
    part = {name: pc.fill_null(pc.struct_field(found, name), "") for name in _PARTS}
    deg, minutes, seconds = (_number(part[name]) for name in ("deg", "min", "sec"))
    letter = pc.binary_join_element_wise(part["before"], part["after"], "")
    minus = _is(part["sign"], "-")
    good = _is(letter, "", *letters) & ~(_is(letter, *letters) & ~_is(part["sign"], ""))
    good &= pc.is_valid(found).to_numpy(zero_copy_only=False) & (minutes < 60) & (seconds < 60)
    # Decimal minutes are the end of the angle.
    good &= _is(part["sec"], "") | (minutes == np.floor(minutes))
    size = deg + minutes / 60 + seconds / 3600
    return np.where(minus | _is(letter, letters[1]), -size, size), good


def _number(text: pa.Array) -> Floats:
    filled: Floats = pc.cast(pc.if_else(pc.equal(text, ""), "0", text), pa.float64()).to_numpy(zero_copy_only=False)
    return filled


def _is(text: pa.Array, *values: str) -> Flags:
    found: Flags = pc.is_in(text, pa.array(values, pa.string())).to_numpy(zero_copy_only=False)
    return found
