"""Puts grids and frames of degrees in the order in which surveyors of a place are likely to work in them."""

import math
import re
from collections import Counter
from collections.abc import Sequence

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
    zones = [one for one in grids if _WORLD_ZONE.fullmatch(one.name)]
    grids = [one for one in grids if one not in zones]
    surveys = {one.code for one in grids if _surveys(scope_of(one.code))}
    near = _countries([one for one in grids if one.code in surveys], place)
    modern = {one.code for one in grids if with_heights(one.code) not in (None, WORLD)}
    own = {one.code for one in grids if near and _names(one, near[0])}
    names = {one.name: one.code for one in grids}
    plain = {one.code: names[_plain_name(one)] for one in grids if _plain_name(one) in names}
    own |= {code for realised, code in plain.items() if realised in own}
    europe = {one.code for one in grids if one.area.startswith("Europe") and _EUROPES_ZONE.fullmatch(one.name)}
    own |= europe
    newest: dict[tuple[str, str], int] = {}
    for one in grids:
        if one.code in modern:
            newest[_stem(one)] = max(_year(one), newest.get(_stem(one), 0))

    def faults(one: Registered) -> tuple[bool, ...]:
        foreign = bool(near) and not one.area.startswith("Europe") and not any(_names(one, names) for names in near)
        old = one.code not in modern and one.code not in own
        return foreign, one.code not in surveys, _VARIANT.search(one.name) is not None, old

    def age(one: Registered) -> tuple[bool | float, ...]:
        datum = _datum(one)
        passed = ("(" in datum and _year(one) < newest.get(_stem(one), 0)) or _NUMBERED.search(datum) is not None
        passed = passed or one.code in plain
        return passed, one.code not in own, one.code not in modern, -_year(one), one.size

    found = {one.code: faults(one) for one in grids}
    ordered = sorted(grids, key=lambda one: (found[one.code], age(one)))
    sets: Counter[tuple[str, str]] = Counter()
    further = set()
    for one in ordered:
        its = _datum(one), _ZONE.sub("", one.name.rpartition(" / ")[2])
        sets[its] += 1
        if sets[its] > _ZONES:
            further.add(one.code)
    ordered = sorted(ordered, key=lambda one: (found[one.code], one.code in further))
    at_home = [one.code in modern and not any(found[one.code]) for one in ordered[:_FIRST]]
    after = max((at + 1 for at, home in enumerate(at_home) if home), default=0)
    after = _LAST + bool(europe) if europe or (len(at_home) == _FIRST and all(at_home)) else after
    return [*ordered[:after], *zones, *ordered[after:]]


def _countries(surveys: Sequence[Registered], place: tuple[float, float]) -> list[tuple[str, ...]]:
    """Return the names of each country that may hold a place [deg] and has grids for surveys there, the nearest first.

    The nearest by its towns; where the smallest of the grids is of another one, and by far the smallest, that one.
    """
    every = [tuple(name.removesuffix(" Republic") for name in each) for each in countries_near(*place)]
    near = [names for names in every if any(_names(one, names) for one in surveys)]
    least = min(surveys, key=lambda one: one.size, default=None)
    if least is None or (near and _names(least, near[0])):
        return near
    its = min((one.size for one in surveys if near and _names(one, near[0])), default=math.inf)
    if least.size * _BY_FAR >= its:
        return near
    return [(_PART.split(least.area)[0].rstrip("."),), *near]


def _plain_name(one: Registered) -> str:
    """Return the name of a grid of a country's own realisation of a datum without that; "" for others."""
    datum, _, grid = one.name.rpartition(" / ")
    first, _, more = datum.partition("/")
    return f"{first} / {grid}" if more else ""


def _names(one: Registered, names: Sequence[str]) -> bool:
    """Tell whether the area of a grid has one of some names in its own."""
    return any(name in _PART.split(one.area)[0] for name in names)


def _datum(one: Registered) -> str:
    return one.name.rpartition(" / ")[0] or one.name


def _surveys(scope: str) -> bool:
    """Tell whether surveys are issued in grids for something; GIS has the same grid with its axes as usual."""
    words = scope.casefold()
    small = "small scale" in words and "medium" not in words
    surveys = any(word in words for word in _SURVEYS) or words.startswith("gis")
    return surveys and not small and not any(word in words for word in _OF_A_TRADE)


def _stem(one: Registered) -> tuple[str, str]:
    """Return the country of a grid and its datum without the realisation: "NAD83" of "NAD83(2011)"."""
    return _PART.split(one.area)[0], _datum(one).partition("(")[0]


def _year(one: Registered) -> int:
    """Return the year of a grid's datum, 0 where its name says none."""
    found = [int(text) for text in _YEAR.findall(_datum(one))]
    return max((year if year > 99 else year + (1900 if year > _OF_2000 else 2000) for year in found), default=0)


def frames_offered(frames: Sequence[Registered], first: Sequence[str]) -> list[Registered]:
    """Return the frames to be offered besides those of ``first``: that of Europe, a few of the region, and WGS 84."""
    others = [one for one in frames if one.code not in first and not _VARIANT.search(one.name)]
    europe = [one for one in others if one.code == _EUROPE]
    region = [one for one in others if one.size < _REGIONAL and one.code != _EUROPE]
    return [*europe, *region[:_OFFERED], *(one for one in others if one.code == WORLD)]
