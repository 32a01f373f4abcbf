"""Tells the zones of one grid from other grids: the same projection and the same datum, with another origin.

Neither names nor numbers do: "North" and "Central" are two zones, and two names with one number may be two grids.
CRSs are given by their texts, grids with or without heights.
"""

import re

from pyproj.aoi import AreaOfInterest
from pyproj.crs import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType

from pipeline.geodesy import crs as systems
from pipeline.geodesy.area import Area
from pipeline.letter_case import folded

#: The number of a zone, or whatever figures of a name tell it from those of the same grid: "32N", "Lo29", "IX".
_NUMBERS = re.compile(r"\d+[NS]?|\b[IVX]+\b")
#: A unit or the order of axes, behind a CRS's name.
_BEHIND = re.compile(r" \([^()]*\)$")
#: What a datum is called before its realisation: "NAD83" of "NAD83(2011)", "RGF93" of "RGF93 v2b".
_FAMILY = re.compile(r"[^\W_]+")
#: Words that the names of unlike grids have in common.
_ANY = frozenset(("zone", "grid", "north", "south", "east", "west", "central", "cm", "cs", "system"))


def is_sister(text: str, of: str) -> bool:
    """Tell whether two grids are zones of one, whatever unit each counts in.

    They have one datum, or realisations of one, one method of projection, origins or parallels that differ, and a word
    of their names in common. A grid of a whole country is no zone beside those of its parts.
    """
    return _are_sisters(_grid(text), _grid(of))


def told_by_number(text: str, of: str) -> bool:
    """Tell whether the names of two grids differ in a number at most, as those of strips along the meridians do."""
    return _by_number(_grid(text), _grid(of))


def sisters_for(text: str, area: Area) -> list[str]:
    """Return the codes of a grid's zones whose area of use holds all of an area, of those in its unit."""
    grid, bounds = _grid(text), AreaOfInterest(area.west, area.south, area.east, area.north)
    datum, unit = grid.name.partition(" / ")[0], grid.axis_info[0].unit_name
    found = []
    for info in query_crs_info("EPSG", PJType.PROJECTED_CRS, bounds, contains=True):
        if info.deprecated or not info.name.startswith(f"{datum} / "):
            continue
        other = CRS.from_epsg(info.code)
        if other.axis_info[0].unit_name == unit and _are_sisters(other, grid):
            found.append(f"EPSG:{info.code}")
    return found


def _grid(text: str) -> CRS:
    return systems.horizontal_of(systems.parse(text))


def _are_sisters(one: CRS, other: CRS) -> bool:
    ways = [each.coordinate_operation for each in (one, other) if each.coordinate_operation is not None]
    if len(ways) < 2 or ways[0].method_name != ways[1].method_name:
        return False
    if _family(one) != _family(other) or systems.ellipsoid_of(one) != systems.ellipsoid_of(other):
        return False
    here, there = systems.area_of_use(one), systems.area_of_use(other)
    if here is None or there is None or here.contains(there) or there.contains(here):
        return False
    first, second = (
        {each.name: float(each.value) * float(each.unit_conversion_factor) for each in way.params} for way in ways
    )
    return first != second and (_by_number(one, other) or bool(_words(one) & _words(other)))


def _by_number(one: CRS, other: CRS) -> bool:
    first, second = (_NUMBERS.sub("", _BEHIND.sub("", each.name)) for each in (one, other))
    return first == second


def _family(crs: CRS) -> str:
    found = _FAMILY.match(crs.name)
    return "" if found is None else found[0]


def _words(crs: CRS) -> frozenset[str]:
    """Return the words of a grid's name that tell it from grids of other countries and other kinds."""
    words = _NUMBERS.sub("", _BEHIND.sub("", crs.name.partition(" / ")[2])).split()
    return frozenset(folded(word) for word in words) - _ANY
