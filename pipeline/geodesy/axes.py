"""How a grid and a height datum write their numbers: in which unit, to which side, in which order.

Inside, everything is metres to the east, to the north and upwards. A grid may count in feet, to the west or to the
south (y and x of a Gauss conform grid of southern Africa), and a height datum downwards. Here is the one way between.
"""

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from pipeline.arrays import Floats, Triple
from pipeline.geodesy.errors import OperationError

if TYPE_CHECKING:
    from pyproj.crs import CRS

_ACROSS, _ALONG = ("east", "west"), ("north", "south")
_BACKWARDS = ("west", "south", "down")
#: What is said of numbers that grow to another side than usual.
_SIDES = {"west": " (to the west)", "south": " (to the south)", "down": " (downwards)"}
_BARE = str.maketrans("", "", "()")
#: Units that are exact by definition; PROJ hands them on with sixteen digits, the last of them rounded.
FOOT, SURVEY_FOOT = 0.3048, 1200 / 3937
_EXACT = (1.0, FOOT, SURVEY_FOOT)
#: The units that the trade has a plural for; of others their name stands.
_PLURAL = {"metre": "metres", "foot": "feet", "US survey foot": "US survey feet", "degree": "degrees"}

#: The words of the three coordinates, as columns are named.
NAMES = ("easting", "northing", "height")


class Axis(Struct, frozen=True):
    """One axis: the unit's name, metres in one of it, and the side to which the numbers grow."""

    unit: str
    metres: float
    direction: str

    @property
    def count(self) -> float:
        """Metres to the east, the north or upwards in one count; below zero where the numbers grow the other way."""
        return -self.metres if self.direction in _BACKWARDS else self.metres

    @property
    def units(self) -> str:
        """Return the unit's name in the plural."""
        return _PLURAL.get(self.unit, self.unit)

    @property
    def sign(self) -> str:
        """Return the unit as it stands behind a number: m, ft, ftUS, else its name."""
        return {"metre": "m", "foot": "ft", "US survey foot": "ftUS"}.get(self.unit, self.unit)

    @property
    def told(self) -> str:
        """Return the unit's sign and, where it is not the usual one, the side to which the numbers grow."""
        side = _SIDES.get(self.direction)
        return self.sign if side is None else f"{self.sign},{side.translate(_BARE)}"


_EAST, _NORTH, _UP = (Axis("metre", 1.0, direction) for direction in ("east", "north", "up"))


class Axes(Struct, frozen=True):
    """The axes of easting, northing and height.

    ``northing_first`` tells whether X and Y of a geometry, as programs read it under the CRS's code, are northing (or
    southing) and easting (or westing): so of grids whose first axis points south and whose second points west.
    """

    easting: Axis = _EAST
    northing: Axis = _NORTH
    height: Axis = _UP
    northing_first: bool = False

    @property
    def plain(self) -> bool:
        """Whether the numbers are metres to the east, to the north and upwards."""
        return self.counts() == (1.0, 1.0, 1.0)

    @property
    def turned(self) -> bool:
        """Whether eastings grow to the west or northings to the south."""
        return self.easting.direction == "west" or self.northing.direction == "south"

    @property
    def described(self) -> str:
        """Return in words in what coordinates are written: "metres" where all of them are, in the usual way."""
        if self.plain:
            return "metres"
        told = [name + _SIDES.get(axis.direction, "") for name, axis in zip(NAMES, self.each, strict=True)]
        units = [axis.units for axis in self.each]
        if len(set(units)) == 1:
            return f"{told[0]}, {told[1]} and {told[2]} in {units[0]}"
        if units[0] == units[1]:
            return f"{told[0]} and {told[1]} in {units[0]}, {told[2]} in {units[2]}"
        return ", ".join(f"{one} in {unit}" for one, unit in zip(told, units, strict=True))

    @property
    def each(self) -> tuple[Axis, Axis, Axis]:
        """Return the axes of easting, northing and height."""
        return self.easting, self.northing, self.height

    def counts(self) -> tuple[float, float, float]:
        """Return the metres to the east, north and up in one count of each coordinate."""
        return self.easting.count, self.northing.count, self.height.count

    def signs(self) -> Floats:
        """Return (3,) what turns metres to the east, the north and upwards into metres along the coordinates."""
        return np.sign(self.counts())

    def written(self, easting: ArrayLike, northing: ArrayLike, height: ArrayLike) -> Triple:
        """Return (n,) coordinates as the grid writes them, of metres to the east, to the north and upwards."""
        return self._by(self.counts(), easting, northing, height)

    def metres(self, easting: ArrayLike, northing: ArrayLike, height: ArrayLike) -> Triple:
        """Return (n,) metres to the east, to the north and upwards of coordinates as the grid writes them."""
        east, north, up = self.counts()
        return self._by((1.0 / east, 1.0 / north, 1.0 / up), easting, northing, height)

    def geometry(self, easting: ArrayLike, northing: ArrayLike, height: ArrayLike) -> Triple:
        """Return (n,) X, Y, Z of a geometry in the grid's CRS, of coordinates as the grid writes them."""
        first, second, third = (np.asarray(values, dtype=np.float64) for values in (easting, northing, height))
        return (second, first, third) if self.northing_first else (first, second, third)

    def upright(self, metres: float) -> tuple[float, float, float]:
        """Return by what written coordinates are multiplied to count in one unit to the east, the north and upwards.

        ``metres`` is that unit's length: of drawings, which have one unit, the east to the right and the north above.
        """
        east, north, up = (count / metres for count in self.counts())
        return east, north, up

    def step(self) -> str:
        """Return PROJ's step from metres to the east, north and up to X, Y, Z as `geometry` has them."""
        east, north, up = (1.0 / count for count in self.counts())
        if self.northing_first:
            return f"proj=affine s11=0 s12={north!r} s21={east!r} s22=0 s33={up!r}"
        return f"proj=affine s11={east!r} s22={north!r} s33={up!r}"

    def _by(self, counts: tuple[float, float, float], *columns: ArrayLike) -> Triple:
        first, second, third = (
            np.asarray(values, dtype=np.float64) if count == 1.0 else np.asarray(values, dtype=np.float64) / count
            for values, count in zip(columns, counts, strict=True)
        )
        return first, second, third


@lru_cache(maxsize=64)
def axes_of(grid: "CRS", vertical: "CRS | None" = None) -> Axes:
    """Return the axes of a projected CRS and, where heights count in one, of a vertical CRS.

    Of a grid around a pole both axes point along meridians, to the north or south: its easting is the axis of that
    name, and counts as the projection does. Raises `OperationError` for axes that are neither.
    """
    first, second = grid.axis_info[0], grid.axis_info[1]
    directions = [axis.direction.lower() for axis in (first, second)]
    # PROJ and GDAL hand over the easting first where the axes are north, east; others come in their own order
    northing_first = directions[0] in _ALONG and directions[1] in _ACROSS and directions != ["north", "east"]
    if directions[0] in _ALONG and directions[1] in _ACROSS:
        first, second = second, first
    elif directions[0] == directions[1] and directions[0] in _ALONG:
        if first.name.lower().startswith("northing") and second.name.lower().startswith("easting"):
            first, second = second, first
        return Axes(_axis(first, "east"), _axis(second, "north"), _height(grid, vertical))
    elif not (directions[0] in _ACROSS and directions[1] in _ALONG):
        raise OperationError(
            f"the axes of {grid.name} ({directions[0]}, {directions[1]}) are neither compass directions nor polar"
            " meridians",
            "give the same grid as WKT2 with its axes to the east and north, and coordinates to match",
        )
    return Axes(_axis(first), _axis(second), _height(grid, vertical), northing_first)


def _height(grid: "CRS", vertical: "CRS | None") -> Axis:
    if vertical is not None:
        return _axis(vertical.axis_info[0])
    return _axis(grid.axis_info[2]) if len(grid.axis_info) > 2 else _UP


def _axis(axis: Any, direction: str | None = None) -> Axis:
    metres = float(axis.unit_conversion_factor)
    exact = next((known for known in _EXACT if math.isclose(metres, known, rel_tol=1e-12)), metres)
    return Axis(str(axis.unit_name), exact, direction or axis.direction.lower())
