"""Decides which of X and Y is the easting, from positions beside them, the area or axes of the grid; else asks."""

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.registry import (
    counts_backwards,
    crs_kind,
    crs_name,
    in_use_there,
    projected,
    unprojected,
    x_is_northing,
)
from pipeline.geodesy.towns import whereabouts
from pipeline.job.toml_text import quoted, value_text
from pipeline.new_job.axis_sigmas import turned_sigmas
from pipeline.new_job.frames import GridState
from pipeline.new_job.grid_fits import NEAR, FilePositions, Fit, lie_together, turned_alike
from pipeline.new_job.headings import words_compared
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.values import numbers_of


class Way(Struct, frozen=True):
    """Whether X is the northing, None where nothing tells it, and what tells it.

    ``alike`` tells whether readings and marks stand the same way, where it is not known which.
    """

    turned: bool | None
    why: str = ""
    alike: bool = True


def way_of(
    planes: Sequence[FilePositions],
    marks: FilePositions | None,
    found: Sequence[Fit],
    codes: Sequence[str],
    place: tuple[float, float] | None,
) -> Way:
    """Return which way X and Y stand, which is one for all files that leave it open.

    Args:
        planes: positions of exports in a plane.
        marks: those of the register.
        found: grids in which readings and marks agree, with the way in which they do.
        codes: the grid, or those that it may be.
        place: about where the job lies [deg], where that is told by degrees.
    """
    every = [*planes, *([marks] if marks is not None and marks.kind == "plane" else [])]
    open_ones = [table for table in every if table.turned and np.isfinite(table.first).any()]
    if not open_ones:
        return Way(False)
    if len(ways := {fit.turned for fit in found}) == 1:
        return Way(ways.pop(), "only then do marks and the readings on them agree")
    if marks is not None and marks.kind == "plane":
        alike = {way for plane in planes if (way := turned_alike(plane, marks)) is not None}
        if len(alike) == 1:
            return Way(alike.pop(), "only then do readings and marks agree")
    codes = list(dict.fromkeys(table.crs for table in open_ones if table.crs is not None)) or codes
    ways = set[bool]().union(*(_possible(code, open_ones, place) for code in codes))
    if len(ways) == 1:
        return Way(ways.pop(), "only then are the positions where the grid is in use")
    if len(codes) == 1 and (way := x_is_northing(codes[0])) is not None:
        return Way(way, f"the axes of {crs_name(codes[0])} have these names")
    if marks is None or marks.kind != "plane":
        return Way(None)
    return Way(None, alike=any(lie_together(plane, marks) for plane in planes))


def _possible(code: str, tables: Sequence[FilePositions], place: tuple[float, float] | None) -> set[bool]:
    """Return the ways in which all tables lie where a grid is in use, and near the job where its place is known."""
    if crs_kind(code) != "projected":
        return set()
    return {way for way in (False, True) if all(_lies_there(code, table, way, place) for table in tables)}


def _lies_there(code: str, table: FilePositions, turned: bool, place: tuple[float, float] | None) -> bool:
    first, second = float(np.nanmedian(table.first)), float(np.nanmedian(table.second))
    east, north = (second, first) if turned else (first, second)
    if place is not None:
        x, y = projected(code, np.array([place[0]]), np.array([place[1]]))
        return bool(np.hypot(east - x[0], north - y[0]) <= NEAR)
    return in_use_there(code, east, north) is not False


def turned(columns: Mapping[str, str], grid: GridState) -> dict[str, str]:
    """Return the columns of a file that leaves it open with easting and northing as the grid's way has them.

    Without both where nothing tells the way: `asked` asks then.
    """
    pair = {"easting": columns["easting"], "northing": columns["northing"]}
    lettered = turned_sigmas(columns, False)
    if grid.turns is None:
        return {word: name for word, name in columns.items() if word not in pair | lettered}
    if grid.turned:
        pair = {"easting": pair["northing"], "northing": pair["easting"]}
    others = {word: pair.get(word, name) for word, name in columns.items() if word not in lettered}
    return turned_sigmas(columns, grid.turned) | others  # a precision that says its side itself goes before


def used_as_easting(name: str, grid: GridState) -> str:
    """Return that a column is used as the easting, to which side its numbers grow where not to the east, and why."""
    sides = counts_backwards(grid.now) if grid.now is not None else ("", "")
    grows = f" (numbers grow to the {' and '.join(filter(None, sides))} in this grid)" if any(sides) else ""
    return f'"{name}" is used as the easting{grows}: {grid.turns}'


def other_sides(columns: Mapping[str, str], grid: GridState) -> list[str]:
    """Return that columns are called westing or southing although the grid, as far as it is known, counts otherwise."""
    if grid.now is None:
        return []
    sides = counts_backwards(grid.now)
    told = []
    for word, side, known in (("easting", "west", sides[0]), ("northing", "south", sides[1])):
        name = columns.get(word, "")
        if f"{side}ing" in words_compared(name) and known != side:
            told.append(
                f'"{name}" says numbers that grow to the {side}, and {crs_name(grid.now) or grid.now} counts to the'
                f" {'east' if side == 'west' else 'north'}: state a grid that counts to the {side}, or every point is"
                " mirrored although all checks agree"
            )
    return told


def places_either_way(code: str | None, first: Sequence[str], second: Sequence[str]) -> tuple[str, str]:
    """Return in words where positions lie in a grid with X as the easting, and as the northing; "" each if unknown.

    ``first`` and ``second`` are the texts (n,) of X and Y.
    """
    pair = numbers_of(first), numbers_of(second)
    if code is None or crs_kind(code) != "projected" or pair[0] is None or pair[1] is None:
        return "", ""
    x, y = (np.array([float(np.nanmedian(each))]) for each in pair if each is not None)
    told = []
    for east, north in ((x, y), (y, x)):
        try:
            longitude, latitude = unprojected(code, east, north)
        except OperationError:
            return "", ""
        if not np.isfinite((longitude[0], latitude[0])).all():
            return "", ""
        told.append(f": the job lies {whereabouts(float(longitude[0]), float(latitude[0]))} then")
    return told[0], told[1]


def easting_questions(
    columns: Mapping[str, str | int], whose: str, again: str = "", places: tuple[str, str] = ("", "")
) -> list[Question]:
    """Return the questions after the columns of easting and northing; ``whose`` are the positions.

    ``again`` is where the same has been asked before, "" where it has not; ``places`` are those of
    `places_either_way`.
    """
    straight = [columns["easting"], columns["northing"]]
    x, y = (quoted(name) if isinstance(name, str) else f"column {name}" for name in straight)
    values = list(map(value_text, straight))
    asks = (
        f"which of {x} and {y} is the easting of {whose}? nothing in the files shows it, and with the wrong one every"
        " point is mirrored although all checks agree"
    )
    asks = f"the same answer as {again}: which of {x} and {y} is the easting of {whose}?" if again else asks
    east = f"{x} is the easting, as in most programs"
    north = f"{x} is the northing, as in the grids of many countries"
    first = tuple(f"{why}{place}" for why, place in zip((east, north), places, strict=True))
    other = f"the same answer as easting: the other of {x} and {y} is the northing"
    return [
        Question("easting", asks, tuple(map(Candidate, values, first)), ("northing",), repeats=bool(again)),
        Question("northing", other, tuple(map(Candidate, values[::-1], (east, north))), repeats=True),
    ]
