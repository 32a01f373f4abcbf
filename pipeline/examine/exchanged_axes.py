"""Tells easting and northing that are exchanged in exports and register alike: mirrored, and every check agrees.

Where the numbers of both are of one size, as in grids that count from near the job, nothing shows it but what the
headings say, what the grid itself calls X, and degrees beside the coordinates.
"""

from collections.abc import Iterator
from enum import Enum, auto
from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.register_looks import distance_from
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.registry import (
    crs_kind,
    crs_name,
    flat,
    in_use_at,
    projected,
    unprojected,
    used_in,
    x_is_northing,
)
from pipeline.geodesy.towns import whereabouts
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.read.axis_headings import axis_in_heading
from pipeline.read.exports import Export
from pipeline.sphere import apart
from pipeline.words import Doubt

#: Metres beyond which the place of exchanged numbers is not in question, where a grid has no area of use.
_FAR = 1_000_000.0
#: Metres that a job lies outside its grid's area of use, at the least, so that numbers exchanged into it are in doubt:
#: work over an edge of it may lie nearer. And metres between two places of which it is worth saying which is meant.
_OUTSIDE, _APART = 10_000.0, 1_000.0


class _Way(Enum):
    """What the headings of easting and northing say of the way in which they are mapped."""

    SILENT = auto()
    STRAIGHT = auto()
    BY_WORDS = auto()  # exchanged, as "North" for the easting says
    BY_LETTERS = auto()  # exchanged, by what the grid itself calls X and Y


class _Said(Struct, frozen=True):
    """What an export or the register says: its way, CRS, and headings of easting and northing."""

    way: _Way
    crs: str = ""
    east: str = ""
    north: str = ""

    @property
    def exchanged(self) -> bool:
        return self.way in (_Way.BY_WORDS, _Way.BY_LETTERS)


def axis_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for the exports of each block whose easting and northing seem exchanged, the register's too."""
    logs = survey.first_pass.files
    for (block, what), exports in _alike(survey, certain=True).items():
        sessions = tuple(np.flatnonzero(np.any([logs[number].sessions for number in exports], axis=0)).tolist())
        file, line = survey.where("points", block, "columns", "easting")
        yield Doubtful(Doubt.PLACE, f"{_shown(survey, exports)}: {what}", sessions, Path(file).name, line)


def axis_notes(survey: Survey) -> list[str]:
    """Return in words where headings say that easting and northing are exchanged, and others contradict that."""
    found = _alike(survey, certain=False)
    return [f"{_shown(survey, exports)}: {what}" for (_, what), exports in found.items()]


def _alike(survey: Survey, certain: bool) -> dict[tuple[int, str], list[int]]:
    """Return the numbers of the exports of which one thing is to be said, by their block and that."""
    found: dict[tuple[int, str], list[int]] = {}
    for number, export, what, sure in _found(survey):
        if sure is certain:
            found.setdefault((export.block, what), []).append(number)
    return found


def _shown(survey: Survey, exports: list[int]) -> str:
    return f"{survey.exports[exports[0]].shown}{and_more(len(exports) - 1)}"


def _found(survey: Survey) -> Iterator[tuple[int, Export, str, bool]]:
    """Yield exports with what is to be said of them, and whether it is a doubt."""
    register = _of_register(survey)
    for number, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        if "easting" not in export.headings or not log.rows or export.exchanged is False:
            continue
        if export.exchanged:
            what = "its eastings and northings lie where its longitudes and latitudes do only if they are exchanged"
            yield number, export, f"{what}, and every check may agree all the same; {_CURE}", True
        elif register is not None:
            own = _way_of(export.points.crs or "", export.headings["easting"], export.headings["northing"])
            certain = _certain(own, register)
            named = any(axis_in_heading(one.east) == "easting" for one in (own, register))
            if not named and (what := _outside(survey, export)):
                yield number, export, f"{what}; {_CURE}", True
            elif certain is not None and (away := _exchanged_by(survey, export)) is not None:
                yield number, export, _told(own, register, away), certain


def place_notes(survey: Survey) -> list[str]:
    """Return in words where a job lies either way, where nothing shows which column is the easting."""
    register, told = _of_register(survey), dict[tuple[int, str], list[int]]()
    for number, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        if "easting" not in export.headings or not log.rows or export.exchanged is not None or register is None:
            continue
        east, north = export.headings["easting"], export.headings["northing"]
        ways = {register.way, _way_of(export.points.crs or "", east, north).way}
        places = _either_way(survey, export) if ways == {_Way.SILENT} else None
        sides = places is not None and _exchanged_by(survey, export) is not None and not _outside(survey, export)
        if places is not None and sides and _between(places) > _APART:
            here, there = (whereabouts(*place) for place in places)
            what = f'nothing shows that "{east}" is the easting and "{north}" the northing, as they are mapped.'
            what += f" So the job lies {here}; the other way round it would lie {there}: which is right?"
            told.setdefault((export.block, what), []).append(number)
    return [f"{_shown(survey, exports)}: {what}" for (_, what), exports in told.items()]


def _outside(survey: Survey, export: Export) -> str:
    """Return that a job lies outside its grid's area of use, and inside with exchanged numbers; "" where not."""
    crs, places = export.points.crs or "", _either_way(survey, export)
    try:
        use = None if places is None else used_in(crs)
    except OperationError:
        return ""
    if places is None or use is None or not use.holds(*places[1])[()]:
        return ""
    far = float(distance_from((use.west, use.south, use.east, use.north), np.array([places[0]]))[0])
    if not far >= _OUTSIDE:
        return ""
    here, there = (whereabouts(*place) for place in places)
    return (
        f"the job lies {here}, {far / 1000:,.0f} km outside the area in which {crs_name(crs)} is used, and inside it"
        f" with easting and northing exchanged, {there}: every check agrees either way"
    )


def _either_way(survey: Survey, export: Export) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return longitude and latitude [deg] of a job as it is mapped, and with easting and northing exchanged."""
    crs, area = export.points.crs or "", survey.first_pass.area
    if area is None or crs_kind(crs) != "projected":
        return None
    try:
        east, north = projected(crs, *(np.array([each]) for each in area.centre))
        longitude, latitude = unprojected(crs, north, east)
    except OperationError:
        return None
    there = float(longitude[0]), float(latitude[0])
    return (area.centre, there) if np.isfinite(there).all() else None


def _between(places: tuple[tuple[float, float], tuple[float, float]]) -> float:
    """Return the metres between two places [deg]."""
    here, there = (tuple(np.array([each]) for each in place) for place in places)
    return float(apart(*here, *there)[0])


_CURE = "exchange the columns in the job file then, those of the register too"


def _certain(own: _Said, register: _Said) -> bool | None:
    """Tell whether an export's headings and the register's make a doubt, or a note; None where they make nothing.

    Letters alone are a doubt where both have them: a program of its own may call the easting X.
    """
    if own.way is _Way.BY_WORDS or register.way is _Way.BY_WORDS:
        return _Way.STRAIGHT not in (own.way, register.way)
    if own.exchanged and register.exchanged:
        return True
    return None if _Way.STRAIGHT in (own.way, register.way) or not own.exchanged else False


def _told(own: _Said, register: _Said, away: float) -> str:
    where = [f'"{own.east}" is mapped as easting and "{own.north}" as northing'] if own.exchanged else []
    if register.exchanged:
        columns = f'"{register.east}" and "{register.north}"'
        where.append(f"{columns} of the register likewise" if where else f"{columns} of the register are so mapped")
    crs = own.crs if own.exchanged else register.crs
    crs = flat(crs) or crs
    why = f"but {crs_name(crs)} itself calls its northing {'X' if x_is_northing(crs) else 'Y'}"
    if _Way.BY_WORDS in (own.way, register.way):
        why = "against what they say"
    if _Way.STRAIGHT in (own.way, register.way):
        why += f", and {'the register' if own.exchanged else 'the export'} says otherwise"
    return (
        f"{', '.join(where)}, {why}: if easting and northing are exchanged, every point is mirrored and"
        f" {away / 1000:,.0f} km from its place although every check agrees; {_CURE}"
    )


def _of_register(survey: Survey) -> _Said | None:
    """Return what the register's headings say; None for one in degrees, which exchanged readings do not agree with."""
    control, register = survey.job.control, survey.register
    if control is None or register is None:
        return _Said(_Way.SILENT)
    if register.kind != "projected":
        return None
    if register.geometry_crs is not None:
        return _Said(_Way.SILENT)
    names = [getattr(control.columns, word) or word for word in ("easting", "northing")]
    east, north = (name if isinstance(name, str) else "" for name in names)
    return _way_of(control.crs, east, north)


def _way_of(crs: str, east: str, north: str) -> _Said:
    first, second = axis_in_heading(east), axis_in_heading(north)
    way = _Way.SILENT
    if first == "easting" or second == "northing":
        way = _Way.STRAIGHT
    elif "" not in (first, second) and (first == "northing" or second == "easting"):
        way = _Way.BY_WORDS
    elif {first, second} == {"x", "y"} and (turned := x_is_northing(crs)) is not None:
        way = _Way.BY_LETTERS if turned == (first == "x") else _Way.STRAIGHT
    return _Said(way, crs, east, north)


def _exchanged_by(survey: Survey, export: Export) -> float | None:
    """Return how many metres away the job lies with easting and northing exchanged; None where it cannot be meant.

    That is so where the grid is not used there: then numbers that are used where they lie prove the mapping.
    """
    crs, area = export.points.crs or "", survey.first_pass.area
    if area is None or crs_kind(crs) != "projected":
        return None
    here = np.array([area.centre[0]]), np.array([area.centre[1]])
    try:
        east, north = projected(crs, *here)
        there = unprojected(crs, north, east)
        used, away = in_use_at(crs, *there), float(apart(*here, *there)[0])
    except OperationError:
        return None
    return away if np.isfinite(away) and (used or (used is None and away <= _FAR)) else None
