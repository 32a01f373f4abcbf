"""Puts grids and frames of degrees in the order in which surveyors of a place are likely to work in them."""

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence

from msgspec import Struct

from pipeline.geodesy.registry import Registered, scope_of, with_heights
from pipeline.new_job.zones import countries_near

#: Words of the registry for what surveys are issued in, and for what one trade alone uses.
_SURVEYS = ("cadastre", "engineering survey", "municipal", "topographic mapping", "large scale", "spatial framework")
_OF_A_TRADE = ("railway", "oil and gas", "project")
#: A variant of a grid that differs by its order of axes or the zone in front of eastings alone.
_VARIANT = re.compile(r"\((?:z?E-N|N-z?E|N, ?E|lon-lat)\)$")
#: The year of a datum in its name: "NAD83(2011)", "ETRS89", "GSK-2011"; two digits above these are of 1900.
_YEAR, _OF_2000 = re.compile(r"(?<!\d)(?:19|20)\d\d(?!\d)|(?<=[A-Za-z-])\d\d(?!\d)"), 25
#: What zones of one grid differ by, and units: digits and what is in brackets.
_ZONE = re.compile(r"\(.*?\)|\d")
#: A later realisation of one datum, beside the first or the one without a number: "NAD83(CSRS)v6".
_NUMBERED = re.compile(r"v[2-9]")
#: The zones of WGS 84, and after how many grids of a datum in use today they are listed: at the latest.
_WORLD_ZONE, _FIRST, _LAST = re.compile(r"WGS 84 / UTM zone \d+[NS]"), 3, 5
#: Those of ETRS89, which are of every country of Europe.
_EUROPES_ZONE = re.compile(r"ETRS89 / UTM zone \d+N")
#: How many times the area of a grid of the nearest country, as towns have it, a grid of another one is smaller.
_BY_FAR = 4.0
#: Zones of one set and datum that are listed before other grids.
_ZONES = 2
#: What follows the countries in the name of an area.
_PART = re.compile(r" - | between ")
#: Square degrees of the area of a frame that is a region's or a country's.
_REGIONAL = 10_000.0
#: Frames of the region that are offered; whether PROJ has a way from one to the grid may take it minutes to find.
_OFFERED = 4
#: WGS 84 with heights, which files state as their datum everywhere, and ETRS89.
WORLD, _EUROPE = "EPSG:4979", "EPSG:4937"


def plain_first(grids: Sequence[Registered], place: tuple[float, float]) -> list[Registered]:
    """Return grids with those first that surveys at a place [deg] are issued in.

    They are those of the countries that may hold it, for surveys or maps of no small scale alone, plain ones first; of
    these those whose datum has ellipsoidal heights, as GNSS gives them, but for WGS 84, and all of the nearest country.
    Of what is left alike two zones of a set come before the others, the nearest country before its neighbours, and
    newer datums before older ones. The zones of WGS 84, which no country calls its own, follow the first of all these.
    """
    zones_of_world = [grid for grid in grids if _WORLD_ZONE.fullmatch(grid.name)]
    others = [grid for grid in grids if not _WORLD_ZONE.fullmatch(grid.name)]
    used = _Used.at(others, place)
    faults = {grid.code: used.faults(grid) for grid in others}
    ordered = sorted(others, key=lambda grid: (faults[grid.code], used.age(grid)))
    further = _further_zones(ordered)
    ordered.sort(key=lambda grid: (faults[grid.code], grid.code in further))
    sound = [grid.code in used.modern and not any(faults[grid.code]) for grid in ordered[:_FIRST]]
    before_world = max((count for count, is_sound in enumerate(sound, start=1) if is_sound), default=0)
    if used.europe or (len(sound) == _FIRST and all(sound)):
        before_world = _LAST + bool(used.europe)
    return [*ordered[:before_world], *zones_of_world, *ordered[before_world:]]


class _Used(Struct, frozen=True):
    """What surveys at a place may be issued in: sets of grids by their codes.

    Args:
        countries: the names of each country that may hold the place, the nearest first.
        surveys: for surveys, or for maps of no small scale.
        modern: those whose datum has ellipsoidal heights, but for WGS 84.
        realised: of a country's own realisation of a datum, where the same grid of the datum itself is there too.
        own: of the nearest country, such grids of the datum itself included, and the zones of Europe.
        europe: the zones of ETRS89, where they are for Europe.
        newest: the year of the newest modern datum, by its `_stem`.
    """

    countries: Sequence[tuple[str, ...]]
    surveys: frozenset[str]
    modern: frozenset[str]
    realised: frozenset[str]
    own: frozenset[str]
    europe: frozenset[str]
    newest: Mapping[tuple[str, str], int]

    @classmethod
    def at(cls, grids: Sequence[Registered], place: tuple[float, float]) -> "_Used":
        """Return it of some grids and a place [deg]."""
        surveys = frozenset(grid.code for grid in grids if _surveys(scope_of(grid.code)))
        countries = _countries([grid for grid in grids if grid.code in surveys], place)
        modern = frozenset(grid.code for grid in grids if with_heights(grid.code) not in (None, WORLD))
        code_of = {grid.name: grid.code for grid in grids}
        of_datum = {grid.code: code_of[_plain_name(grid)] for grid in grids if _plain_name(grid) in code_of}
        nearest = {grid.code for grid in grids if countries and _names(grid, countries[0])}
        nearest |= {code for realised, code in of_datum.items() if realised in nearest}
        europe = frozenset(grid.code for grid in grids if _of_europe(grid) and _EUROPES_ZONE.fullmatch(grid.name))
        newest: dict[tuple[str, str], int] = {}
        for grid in grids:
            if grid.code in modern:
                newest[_stem(grid)] = max(_year(grid), newest.get(_stem(grid), 0))
        return cls(countries, surveys, modern, frozenset(of_datum), europe | nearest, europe, newest)

    def faults(self, grid: Registered) -> tuple[bool, ...]:
        """Return what speaks against a grid, the gravest first: another country, another use, a variant, its datum."""
        at_home = _of_europe(grid) or any(_names(grid, names) for names in self.countries)
        foreign = bool(self.countries) and not at_home
        old = grid.code not in self.modern and grid.code not in self.own
        return foreign, grid.code not in self.surveys, _VARIANT.search(grid.name) is not None, old

    def age(self, grid: Registered) -> tuple[bool | float, ...]:
        """Return by what grids with the same faults are ordered: a later realisation, country, datum, year and area."""
        datum = _datum(grid)
        revised = "(" in datum and _year(grid) < self.newest.get(_stem(grid), 0)
        passed = revised or _NUMBERED.search(datum) is not None or grid.code in self.realised
        return passed, grid.code not in self.own, grid.code not in self.modern, -_year(grid), grid.size


def _further_zones(ordered: Sequence[Registered]) -> set[str]:
    """Return the codes of the zones of a set and datum that come after the first ones of it."""
    of_set: Counter[tuple[str, str]] = Counter()
    further = set()
    for grid in ordered:
        zones = _datum(grid), _ZONE.sub("", grid.name.rpartition(" / ")[2])
        of_set[zones] += 1
        if of_set[zones] > _ZONES:
            further.add(grid.code)
    return further


def _of_europe(grid: Registered) -> bool:
    return grid.area.startswith("Europe")


def _countries(surveys: Sequence[Registered], place: tuple[float, float]) -> list[tuple[str, ...]]:
    """Return the names of each country that may hold a place [deg] and has grids for surveys there, the nearest first.

    The nearest by its towns; where the smallest of the grids is of another one, and by far the smallest, that one.
    """
    every = [tuple(name.removesuffix(" Republic") for name in each) for each in countries_near(*place)]
    near = [names for names in every if any(_names(grid, names) for grid in surveys)]
    smallest = min(surveys, key=lambda grid: grid.size, default=None)
    if smallest is None or (near and _names(smallest, near[0])):
        return near
    size_of_nearest = min((grid.size for grid in surveys if near and _names(grid, near[0])), default=math.inf)
    if smallest.size * _BY_FAR >= size_of_nearest:
        return near
    return [(_PART.split(smallest.area)[0].rstrip("."),), *near]


def _plain_name(grid: Registered) -> str:
    """Return the name of a grid of a country's own realisation of a datum without that; "" for others."""
    datum, _, zone = grid.name.rpartition(" / ")
    first, _, realisation = datum.partition("/")
    return f"{first} / {zone}" if realisation else ""


def _names(grid: Registered, names: Sequence[str]) -> bool:
    """Tell whether the area of a grid has one of some names in its own."""
    return any(name in _PART.split(grid.area)[0] for name in names)


def _datum(grid: Registered) -> str:
    return grid.name.rpartition(" / ")[0] or grid.name


def _surveys(scope: str) -> bool:
    """Tell whether surveys are issued in grids for something; GIS has the same grid with its axes as usual."""
    words = scope.casefold()
    small = "small scale" in words and "medium" not in words
    surveys = any(word in words for word in _SURVEYS) or words.startswith("gis")
    return surveys and not small and not any(word in words for word in _OF_A_TRADE)


def _stem(grid: Registered) -> tuple[str, str]:
    """Return the country of a grid and its datum without the realisation: "NAD83" of "NAD83(2011)"."""
    return _PART.split(grid.area)[0], _datum(grid).partition("(")[0]


def _year(grid: Registered) -> int:
    """Return the year of a grid's datum, 0 where its name says none."""
    found = [int(text) for text in _YEAR.findall(_datum(grid))]
    return max((year if year > 99 else year + (1900 if year > _OF_2000 else 2000) for year in found), default=0)


def frames_offered(frames: Sequence[Registered], first: Sequence[str]) -> list[Registered]:
    """Return the frames to be offered besides those of ``first``: that of Europe, a few of the region, and WGS 84."""
    others = [one for one in frames if one.code not in first and not _VARIANT.search(one.name)]
    europe = [one for one in others if one.code == _EUROPE]
    region = [one for one in others if one.size < _REGIONAL and one.code != _EUROPE]
    return [*europe, *region[:_OFFERED], *(one for one in others if one.code == WORLD)]
