"""Reads references by the letters of a 100 km square: "TQ 11729.085 68099.369" of Great Britain, "O 15904 34671".

Squares lie in rows of five from the north-west, lettered without I. Great Britain has two letters: the first for
squares of 500 km, of which S has its south-west corner at the grid's origin; Ireland has one, V being at the origin. As
the mapping agencies of both publish it.
"""

import re

from msgspec import Struct

_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
_SIDE, _IN_A_ROW = 100_000, 5
#: Column and row of the square S among Great Britain's large ones, from the south-west corner on.
_ORIGIN = (2, 1)
#: One or two letters, and two numbers of as many figures: apart, or as one run.
_REFERENCE = re.compile(
    r"(?P<letters>[A-HJ-Z]{1,2})[ ,]?(?:(?P<east>\d{1,5}(?:\.\d+)?)[ ,]+(?P<north>\d{1,5}(?:\.\d+)?)|(?P<run>\d{4,10}))"
)
#: The first letters of squares with land in them.
_BRITISH = frozenset("HJNOST")


class LetteredReference(Struct, frozen=True):
    """Easting and northing [m] of a reference, as far as its figures go, with its grid."""

    letters: str
    easting: str
    northing: str
    grid: str
    code: str


def lettered_reference(text: str) -> LetteredReference | None:
    """Return what a reference with the letters of a 100 km square means; None for any other text."""
    found = _REFERENCE.fullmatch(text.strip().upper())
    if found is None:
        return None
    east, north = found["east"], found["north"]
    if (run := found["run"]) is not None:
        if len(run) % 2:
            return None
        east, north = run[: len(run) // 2], run[len(run) // 2 :]
    if len(east.partition(".")[0]) != len(north.partition(".")[0]) and "." not in east + north:
        return None
    corner = _corner(found["letters"])
    if corner is None:
        return None
    british = len(found["letters"]) == 2
    whole = (_metres(east, corner[0]), _metres(north, corner[1]))
    grid, code = ("British National Grid", "EPSG:27700") if british else ("Irish Grid", "EPSG:29903")
    return LetteredReference(found["letters"], *whole, grid, code)


def _corner(letters: str) -> tuple[int, int] | None:
    """Return easting and northing [m] of the south-west corner of a square; None where it is none of either grid."""
    if len(letters) == 1:
        column, row = _place(letters)
        return column * _SIDE, row * _SIDE
    if letters[0] not in _BRITISH:
        return None
    (wide, high), (column, row) = _place(letters[0]), _place(letters[1])
    east, north = (wide - _ORIGIN[0]) * _IN_A_ROW + column, (high - _ORIGIN[1]) * _IN_A_ROW + row
    return east * _SIDE, north * _SIDE


def _place(letter: str) -> tuple[int, int]:
    """Return column and row of a square among the twenty-five, from the south-west corner on."""
    row, column = divmod(_LETTERS.index(letter), _IN_A_ROW)
    return column, _IN_A_ROW - 1 - row


def _metres(figures: str, corner: int) -> str:
    """Return a length from the grid's origin as written: a figure less is ten metres, unless decimals follow."""
    whole, point, decimals = figures.partition(".")
    inside = int(whole) if point else int(whole.ljust(5, "0"))
    return f"{corner + inside}{point}{decimals}"
