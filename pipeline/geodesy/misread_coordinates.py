"""What else the numbers of a coordinate may have meant: another datum of the area, a neighbouring zone of the grid.

These are readings of a mistake and never results: an operation whose best grid is not at hand serves them well enough.
"""

import math
from functools import lru_cache

from msgspec import Struct
from pyproj import Transformer
from pyproj.crs import CRS
from pyproj.enums import PJType
from pyproj.transformer import TransformerGroup

from pipeline.geodesy import crs as systems
from pipeline.geodesy import grids
from pipeline.geodesy.area import Area
from pipeline.geodesy.axes import Axes, axes_of
from pipeline.geodesy.candidate_operations import candidate_operations
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.regional_frames import frames_at_rest

#: Metres: beyond, an operation tells two datums apart no better than a shift of the coordinates would.
_WORST = 10.0
#: The area is widened to whole tenths of a degree, so that the jobs of one neighbourhood ask once.
_TENTHS = 10
#: Degrees between the central meridians of neighbouring zones, as grids have them.
ZONES = (6.0, 3.0, 2.0)


class Alternative(Struct, frozen=True):
    """The coordinates that were meant, if the numbers as written were meant otherwise.

    ``name`` says how they were meant; ``first`` and ``second`` are easting and northing [m] or longitude and latitude
    [deg] in the CRS asked about; ``accuracy`` [m] is that of the way there, as PROJ states it, 0 for a conversion.
    """

    name: str
    first: float
    second: float
    accuracy: float


def other_datums(crs: str, area: Area, first: float, second: float) -> list[Alternative]:
    """Return what the area's other datums would make of two coordinates.

    Args:
        crs: that of the coordinates as they are taken to be: projected or geographic.
        area: the job's; a datum counts where a geographic CRS of it is used all over it.
        first: easting [m] or longitude [deg], as written.
        second: northing [m] or latitude [deg].
    """
    to_degrees, axes = _to_degrees(crs)
    longitude, latitude = to_degrees.transform(*_own(axes, first, second))
    found = []
    for name, group in _groups(crs, *_widened(area)):
        operation = group.transformers[0]
        meant = to_degrees.transform(*operation.transform(longitude, latitude), direction="INVERSE")
        if all(map(math.isfinite, meant)):
            found.append(Alternative(name, *_metres(axes, *meant), float(operation.accuracy)))
    return found


def neighbouring_zones(crs: str, first: float, second: float) -> list[Alternative]:
    """Return the places of an easting and northing [m] that were counted in a neighbouring zone of a projected CRS."""
    to_degrees, axes = _to_degrees(crs)
    longitude, latitude = to_degrees.transform(*_own(axes, first, second))
    found = []
    for degrees in (way * zone for zone in ZONES for way in (1, -1)):
        meant = to_degrees.transform(longitude + degrees, latitude, direction="INVERSE")
        if all(map(math.isfinite, meant)):
            side = "east" if degrees > 0 else "west"
            name = f"{abs(degrees):g} degrees {side}"
            found.append(Alternative(name, *_metres(axes, *meant), 0.0))
    return found


class LeftOut(Struct, frozen=True):
    """What may have been left out of eastings and northings: metres to the east and the north to be added to them.

    ``name`` says so, as a clause that goes before what would then be.
    """

    name: str
    east: float
    north: float


def left_out(crs: str, marks: tuple[float, float], readings: tuple[float, float]) -> list[LeftOut]:
    """Return what may have been left out of eastings and northings, or of those that they are compared with.

    That is the grid's false easting and northing, added or taken off, and the digits in front of the hundreds or the
    thousands of kilometres, of one coordinate or both.

    Args:
        crs: a projected CRS, that of the coordinates.
        marks: easting and northing [m] of one of them, as written.
        readings: longitude and latitude [deg] of where they are meant to be, or of what lacks the digits itself.
    """
    to_degrees, axes = _to_degrees(crs)
    counts = axes.easting.count, axes.northing.count
    here = to_degrees.transform(*readings, direction="INVERSE")
    there = _metres(axes, *here) if all(map(math.isfinite, here)) else None
    east, north = (metres * math.copysign(1.0, count) for metres, count in zip(_false(crs), counts, strict=True))
    found = []
    for way, done in ((1.0, "added"), (-1.0, "taken off")):
        for first, second, what in ((east, 0.0, "easting"), (0.0, north, "northing"), (east, north, "both")):
            if (what != "northing" and not east) or (what != "easting" and not north):
                continue
            size = first / counts[0] if first else second / counts[1]
            of = "easting and northing" if what == "both" else f"{what} of {_said(size, counts)}"
            found.append(LeftOut(f"with the grid's false {of} {done}", way * first, way * second))
    for digits in (6, 5) if there is not None else ():
        found += _digits(marks, there or marks, counts, 10.0**digits)
    told = dict[tuple[float, float], LeftOut]()
    for one in found:
        told.setdefault((one.east, one.north), one)
    return list(told.values())


def _digits(
    marks: tuple[float, float], readings: tuple[float, float], counts: tuple[float, float], place: float
) -> list[LeftOut]:
    """Return the digits in front of a place that the marks lack, or that the readings do."""
    lacking = list[float]()
    for mark, reading, count in zip(marks, readings, counts, strict=True):
        one, other = mark / count, reading / count
        if 0.0 <= one < place <= other:
            lacking.append(math.floor(other / place) * place * count)
        elif 0.0 <= other < place <= one:
            lacking.append(-math.floor(one / place) * place * count)
        else:
            lacking.append(0.0)
    found = []
    for east, north in ((True, False), (False, True), (True, True)):
        first, second = lacking[0] * east, lacking[1] * north
        if (east and not first) or (north and not second):
            continue
        parts = [
            f"{_said(abs(size / count), counts)} {'more' if size * count > 0 else 'less'} in {what}"
            for size, count, what in ((first, counts[0], "easting"), (second, counts[1], "northing"))
            if size
        ]
        found.append(LeftOut(f"with {' and '.join(parts)} (digits left out in front)", first, second))
    return found


def _said(size: float, counts: tuple[float, float]) -> str:
    """Return a length that the grid counts, with its thousands apart."""
    unit = "m" if abs(counts[0]) == 1.0 else "units of the grid"
    return f"{size:,.0f} {unit}".replace(",", " ")


def _false(crs: str) -> tuple[float, float]:
    """Return the false easting and northing [m] of a projected CRS, zero where it has none."""
    found = [0.0, 0.0]
    operation = systems.horizontal_of(systems.source_crs(crs)).coordinate_operation
    for parameter in operation.params if operation is not None else ():
        for place, word in enumerate(("easting", "northing")):
            name = parameter.name.lower()
            if name.startswith((f"false {word}", f"{word} at ", f"{word} of ")) and parameter.unit_conversion_factor:
                found[place] = float(parameter.value) * float(parameter.unit_conversion_factor)
    return found[0], found[1]


@lru_cache(maxsize=8)
def _to_degrees(crs: str) -> tuple[Transformer, Axes]:
    """Return the conversion of a projected or geographic CRS to longitude and latitude of its datum, and its axes.

    Those of degrees are as if they were metres.
    """
    grids.prepare_proj()
    horizontal = systems.horizontal_of(systems.source_crs(crs))
    axes = Axes() if horizontal.is_geographic else axes_of(horizontal)
    return Transformer.from_crs(horizontal, systems.geographic_of(horizontal), always_xy=True), axes


def _own(axes: Axes, east: float, north: float) -> tuple[float, float]:
    """Return an easting and northing [m] as the CRS's own X and Y."""
    x, y, _ = axes.geometry(*axes.written(east, north, 0.0))
    return float(x), float(y)


def _metres(axes: Axes, x: float, y: float) -> tuple[float, float]:
    """Return the CRS's own X and Y as easting and northing [m]."""
    east, north = (y, x) if axes.northing_first else (x, y)
    first, second, _ = axes.metres(east, north, 0.0)
    return float(first), float(second)


def _widened(area: Area) -> tuple[float, float, float, float]:
    west, south = (math.floor(edge * _TENTHS) / _TENTHS for edge in (area.west, area.south))
    east, north = (math.ceil(edge * _TENTHS) / _TENTHS for edge in (area.east, area.north))
    return max(west, -180.0), max(south, -90.0), min(east, 180.0), min(north, 90.0)


@lru_cache(maxsize=16)
def _groups(crs: str, west: float, south: float, east: float, north: float) -> list[tuple[str, TransformerGroup]]:
    target, area = systems.geographic_of(systems.source_crs(crs)), Area(west, south, east, north)
    found = []
    for code, name in frames_at_rest(area, PJType.GEOGRAPHIC_2D_CRS):
        group = _group(CRS.from_user_input(code), target, area)
        if group is not None:
            found.append((name, group))
    return found


def _group(source: CRS, target: CRS, area: Area) -> TransformerGroup | None:
    """Return PROJ's operations between two datums, None where there is none that tells them apart."""
    if systems.same_datum(source, target):
        return None
    try:
        group = candidate_operations(source, target, area)
    except OperationError:
        return None
    usable = group.transformers and 0.0 < group.transformers[0].accuracy <= _WORST
    return group if usable else None
