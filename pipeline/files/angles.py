"""Angles in degrees, minutes and seconds, in the many ways in which they are written, and degrees with a sign."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Floats
from pipeline.files.written_numbers import plain_signs
from pipeline.tables import flags_of

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


#: With the hemisphere's letter behind the degrees, as 22S36.0182244 and 22S36'01.09": minutes have two figures then,
#: and decimals or a sign behind them, as they may be anything else without.
_LETTER_WITHIN = r"^(?P<before>)(?P<sign>)(?P<deg>\d{1,3}) ?(?P<after>[NSEW]) ?"
#: With signs or spaces between the parts; with d, m and s, where alone a small s means seconds; with hyphens;
#: with the letter in between.
_SPELLINGS = (
    _spelling(rf"(?: ?{_DEGREES} ?| )", rf"(?: ?{_MINUTES} ?| )", rf" ?{_MINUTES}", rf"(?: ?{_SECONDS})?"),
    _spelling(" ?d ?", " ?m ?", " ?m", " ?s"),
    _spelling("-", "-", "", ""),
    _LETTER_WITHIN + r"(?P<min>\d{2}\.\d+)(?P<sec>) ?['′’]?$",
    _LETTER_WITHIN + rf"(?P<min>\d{{2}})(?:(?: ?{_MINUTES} ?| )(?P<sec>{_NUMBER})(?: ?{_SECONDS})?| ?['′’])$",
)
#: Degrees alone, with their decimals, and what tells them from any other number.
_DECIMAL_DEGREES = (
    r"^(?P<before>[NSEW]?) ?(?P<sign>[+-]?) ?(?P<deg>\d{1,3}(?:\.\d*)?) ?(?:°|º|˚|deg|DEG)?(?P<min>)(?P<sec>)"
    r" ?(?P<after>[NSEW]?)$"
)
#: A whole number with a letter alone, such as 43 S, may be the rest of a longer angle.
_SAYS_DEGREES = r"°|º|˚|deg|DEG|[NSEW].*\.|\..*[NSEW]"
_WORDS_OF_THE_EAST = (
    (r" ?(?:度|도) ?", "°"), (r" ?(?:分|분) ?", "'"), (r" ?(?:秒|초) ?", '"'), ("東経|东经|東經|동경", "E"),
    ("西経|西经|西經|서경", "W"), ("北緯|北纬|북위", "N"), ("南緯|南纬|남위", "S"),
)  # fmt: skip
#: Abbreviations of the hemispheres of Indonesian and Malay (lintang utara and selatan, bujur timur and barat), Russian,
#: Ukrainian, Bulgarian, Czech, Slovak and Croatian (northern and southern width, eastern and western length), which
#: mean nothing else behind an angle.
_ABBREVIATED = (
    (r"LU|с\.? ?ш\.?|пн\.? ?ш\.?|s\.? ?š\.?", "N"), (r"LS|ю\.? ?ш\.?|пд\.? ?ш\.?|j\.? ?š\.?", "S"),
    (r"BT|в\.? ?д\.?|сх\.? ?д\.?|и\.? ?д\.?|[vi]\.? ?d\.?", "E"), (r"BB|з\.? ?д\.?|зх\.? ?д\.?|z\.? ?d\.?", "W"),
)  # fmt: skip
#: What shows that a text may have one.
_ABBREVIATION = r"(?i:L[US]|B[TB]|[шд]\.?|š\.?|[viz]\.? ?d\.?)$|^(?:L[US]|B[TB])"
_PARTS = ("before", "sign", "deg", "min", "sec", "after")


def dms(cells: pa.Array, letters: str) -> tuple[Floats, Flags]:
    """Return (n,) degrees, NaN where empty or unreadable, and (n,) which cells are unreadable.

    ``letters`` are the two hemispheres of the axis, the positive one first ("NS" or "EW"). The sign or the letter is
    the whole angle's, so -0 30 00 is half a degree below zero; both a minus and a letter, minutes or seconds of 60 and
    more, decimal or packed degrees are unreadable. Decimals may stand behind a comma or a point, whatever the other
    numbers of the file have: in an angle a comma can be nothing else.
    """
    text = _plain(cells)
    degrees = np.full(len(cells), np.nan)
    unread: Flags = cells.is_valid().to_numpy(zero_copy_only=False)
    for signs in (False, True):
        if signs and unread.any():
            text = _with_signs(text)
        for spelling in _SPELLINGS if not signs or text is not None else ():
            if unread.any():
                values, good = _read(text, spelling, letters)
                degrees = np.where(unread & good, values, degrees)
                unread = unread & ~good
    return degrees, unread


def decimal_degrees(cells: pa.Array, letters: str) -> tuple[Floats, Flags]:
    """Return (n,) decimal degrees that have a degree sign or a letter of a hemisphere, as `dms` returns angles.

    These are 23.9°, -23,9 °, 48.1977N and N 48.1977°. Decimals may stand behind a comma, and sign and letter are the
    angle's, as there. A number without either is unread here: it may be no angle, and a comma something else.
    """
    text = _plain(cells)
    lettered = _with_letters(text)
    text = text if lettered is None else lettered
    values, good = _read(text, _DECIMAL_DEGREES, letters)
    good &= flags_of(pc.match_substring_regex(text, _SAYS_DEGREES))
    return np.where(good, values, np.nan), cells.is_valid().to_numpy(zero_copy_only=False) & ~good


def _plain(cells: pa.Array) -> pa.Array:
    """Return texts with plain signs of minus and figures, decimal points, and one blank for several."""
    text = pc.replace_substring_regex(plain_signs(cells), r"[\x{2010}-\x{2013}\x{2212}]", "-")
    text = pc.replace_substring(text, ",", ".")
    return pc.replace_substring_regex(pc.utf8_trim_whitespace(text), r"[\s\x{00A0}\x{2009}\x{202F}]+", " ")


def _with_signs(text: pa.Array) -> pa.Array | None:
    """Return angles in words or abbreviations of other languages with signs and letters; None where there are none.

    These are 東経139度29分55.767秒 and 127도 06분 19.1초, from a dictionary, and 8°35'57.3" LS.
    """
    words = pc.any(pc.match_substring_regex(text, "[度도]")).as_py()
    if words:
        for each, sign in _WORDS_OF_THE_EAST:
            text = pc.replace_substring_regex(text, each, sign)
        text = pc.utf8_trim_whitespace(text)
    lettered = _with_letters(text)
    return text if lettered is None and words else lettered


def _with_letters(text: pa.Array) -> pa.Array | None:
    """Return angles with N, S, E and W for the abbreviations of other languages before or behind them, None without."""
    if not pc.any(pc.match_substring_regex(text, _ABBREVIATION)).as_py():
        return None
    for words, letter in _ABBREVIATED:
        text = pc.replace_substring_regex(text, rf"^(?i:{words}) ?([0-9])", rf"{letter} \1")
        text = pc.replace_substring_regex(text, rf"([0-9°º˚'′’\"″”]) ?(?i:{words})$", rf"\1 {letter}")
    return text


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
