"""Numbers as people and spreadsheets write them, made plain where that leaves nothing open.

These are a typeset minus, full-width figures, separators between thousands, a unit behind the number and the letter of
its axis. What could be read in two ways stays as it is, and is no number.
"""

from collections.abc import Callable

import pyarrow as pa
import pyarrow.compute as pc

#: Signs that stand for a minus: hyphens, a figure dash, an en dash, the typeset minus, small and full-width ones.
_MINUS = r"^\s*[\x{2010}-\x{2013}\x{2212}\x{FE63}\x{FF0D}]"
#: Full-width figures and signs of numbers, and the plain ones.
_WIDE = {chr(0xFF00 + ord(each) - 0x20): each for each in "0123456789+,."}
_BLANKS = r"[\x{00A0}\x{2007}\x{2008}\x{2009}\x{200A}\x{202F}]"
#: Separators between thousands: a blank, an apostrophe, and that of "," and "." which is not the decimal sign.
_SEPARATORS = (" ", "'")
_OTHER = {".": ",", ",": "."}
#: A number with what begins with a letter behind it. That is no unit if it is longer; RE2 would lay such a pattern out
#: once for each of the letters, which takes a tenth of a second.
_WITH_UNIT, _LONGEST = r"^(?P<number>.*\d[.,]?)\s?(?P<unit>\pL[\pL .-]*)$", 21
#: What has no unit, told at a tenth of the cost.
_WITHOUT = r"\d$"


def plain_signs(cells: pa.Array) -> pa.Array:
    """Return texts with a hyphen for each other sign of minus, and plain figures for full-width ones.

    Figures of other scripts stay: a run, a register and a draft all refuse them.
    """
    text = pc.replace_substring_regex(cells, _MINUS, "-")
    if pc.any(pc.match_substring_regex(text, r"[\x{FF00}-\x{FF20}]")).as_py():
        for wide, plain in _WIDE.items():
            text = pc.replace_substring(text, wide, plain)
    return text


def ungrouped(cells: pa.Array, decimal: str) -> pa.Array:
    """Return texts without separators between thousands, where these are sure: 512,345.678 and 5 161 024,87.

    So are those of India, with groups of two before the last three: 51,61,024.87, where the decimal sign is a point.
    They are if all groups behind the first have three figures, one kind of sign separates them and the ``decimal`` sign
    ("." or ",") follows: 512,345 may have decimals, 512 345 may be two numbers, and both stay.
    """
    text = pc.replace_substring_regex(cells, _BLANKS, " ")
    text = pc.replace_substring_regex(text, "[’ʼ]", "'")
    one: list[str] = [rf"[1-9]\d{{0,2}}(?:\{sign}\d{{3}})+" for sign in (*_SEPARATORS, _OTHER[decimal])]
    if decimal == ".":
        one.append(r"[1-9]\d?(?:,\d{2})+,\d{3}")
    sure = pc.match_substring_regex(text, rf"^[+-]?(?:{'|'.join(one)})\{decimal}\d+$")
    if not pc.any(sure).as_py():
        return cells
    return pc.if_else(sure, pc.replace_substring_regex(text, rf"[ '\{_OTHER[decimal]}]", ""), cells)


def plain_lengths(cells: pa.Array, is_meant: Callable[[str], bool]) -> pa.Array:
    """Return texts without the unit behind a number, where that is one which the numbers are meant to be in.

    ``is_meant`` is asked once for each unit, as it is written. With any other one behind it a text is no number.
    """
    text = pc.utf8_trim_whitespace(cells)
    if pc.all(pc.match_substring_regex(text, _WITHOUT)).as_py():
        return cells
    found = pc.extract_regex(text, _WITH_UNIT)
    units = pc.struct_field(found, "unit")
    meant = [unit for unit in pc.unique(units).to_pylist() if unit and len(unit) <= _LONGEST and is_meant(unit)]
    if not meant:
        return cells
    return pc.if_else(pc.is_in(units, pa.array(meant, pa.string())), pc.struct_field(found, "number"), cells)


def without_axis(cells: pa.Array, letter: str) -> pa.Array:
    """Return lengths without the letter of their axis, "E" or "N": 324835.913 of "324835.913 E", "E 324835.913".

    A unit between stays: 324835.913 m of "324835.913 m E". A letter right behind a figure may be of an exponent that
    was cut off, and stays, as any other letter does.
    """
    text = pc.utf8_trim_whitespace(cells)
    if not pc.any(pc.match_substring(text, letter)).as_py():
        return cells
    for pattern in (
        rf"^(.*\d[.,]?)\s+{letter}$",
        rf"^(.*\d[.,]?\s?\pL[\pL .-]*?)\s?{letter}$",
        rf"^{letter}\s*[:=]?\s*([-+\x{{2212}}]?\d.*)$",
    ):
        text = pc.replace_substring_regex(text, pattern, r"\1")
    return text


def bare(cells: pa.Array) -> pa.Array:
    """Return texts with plain signs, without any unit and without separators between thousands, to tell decimals by."""
    text = plain_lengths(plain_signs(cells), lambda _: True)
    return ungrouped(ungrouped(text, "."), ",")
