"""Puts grids and frames of degrees in the order in which surveyors of a place are likely to work in them."""

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
    newer datums before older ones.
    """
    every = [tuple(name.removesuffix(" Republic") for name in each) for each in countries_near(*place)]
    near = [names for names in every if any(_names(one, names) for one in grids)]
    modern = {one.code for one in grids if with_heights(one.code) not in (None, WORLD)}
    own = {one.code for one in grids if near and _names(one, near[0])}
    newest: dict[tuple[str, str], int] = {}
    for one in grids:
        if one.code in modern:
            newest[_stem(one)] = max(_year(one), newest.get(_stem(one), 0))

    def faults(one: Registered) -> tuple[bool, ...]:
        foreign = bool(near) and not one.area.startswith("Europe") and not any(_names(one, names) for names in near)
        old = one.code not in modern and one.code not in own
        return foreign, not _surveys(scope_of(one.code)), _VARIANT.search(one.name) is not None, old

    def age(one: Registered) -> tuple[bool | float, ...]:
        datum = _datum(one)
        passed = ("(" in datum and _year(one) < newest.get(_stem(one), 0)) or _NUMBERED.search(datum) is not None
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
    return sorted(ordered, key=lambda one: (found[one.code], one.code in further))


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
