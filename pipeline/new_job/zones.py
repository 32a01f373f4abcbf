"""Lists the time zones in use near a place, and the countries that may hold it."""

import re
from collections import Counter
from datetime import datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from msgspec import Struct

from pipeline.geodesy.towns import EARTH, Town, table, towns_by_distance

#: Kilometres that a town of another country may be farther away than the nearest, twice that in one of so many zones.
_BESIDE, _MANY = 500.0, 4
#: The year of which clocks are compared.
_YEAR = 2025


class NearClock(Struct, frozen=True):
    """A time zone near a place, and in words whose clock it is: its town, and how far that is."""

    zone: str
    whose: str


def clocks_near(longitude: float, latitude: float, most: int = 8) -> list[NearClock]:
    """Return the clocks of all countries that may hold a place [deg], that of the nearest town first.

    The table has towns and no borders, so the nearest town may be a neighbour's: zones of towns about as near are
    listed too, of each country its nearest before its others, and clocks that differ before those that show the same.
    """
    every, within = towns_by_distance(longitude, latitude), _within_reach(longitude, latitude)
    first = every[0]
    heads = {id(one) for one in {one.country: one for one in reversed(within)}.values()}
    shown: set[tuple[timedelta | None, ...]] = set()
    ranked: list[tuple[bool, int, int, Town]] = []
    for at, one in enumerate([*within, *(one for one in every if one.country == first.country and one not in within)]):
        same, other = _shows(one.zone) in shown, id(one) not in heads
        shown.add(_shows(one.zone))
        ranked.append((one not in within, 2 * same + other, at, one))
    chosen = sorted(sorted(ranked, key=lambda each: each[:3])[:most], key=lambda each: each[2])
    return [NearClock(one.zone, _whose(one, not at, longitude, latitude)) for at, (*_, one) in enumerate(chosen)]


def country_codes_near(longitude: float, latitude: float) -> list[str]:
    """Return the codes (ISO 3166) of each country that may hold a place [deg], that of the nearest town first."""
    return list(dict.fromkeys(one.country for one in _within_reach(longitude, latitude)))


def countries_near(longitude: float, latitude: float) -> list[tuple[str, ...]]:
    """Return the names of each country that may hold a place [deg], that of the nearest town first.

    A country has one or two: "New Zealand"; "Britain", "UK".
    """
    names = {each: name for each, name in table("iso3166.tab")}
    return [_names(names[code]) for code in country_codes_near(longitude, latitude)]


def _names(name: str) -> tuple[str, ...]:
    short = re.findall(r"\(([A-Z]+)\)", name)
    return (re.sub(r" *\(.*\)", "", name).replace("&", "and"), *short)


def _within_reach(longitude: float, latitude: float) -> list[Town]:
    """Return the towns whose country may hold a place, nearest first: some hundred km farther than the nearest town.

    In a country of many zones the next town is farther away.
    """
    every = towns_by_distance(longitude, latitude)
    nearest = every[0].far(longitude, latitude)
    zones = Counter(one.country for one in every)
    return [
        one
        for one in every
        if one.far(longitude, latitude) * EARTH
        <= max(2.0 * nearest * EARTH, nearest * EARTH + _BESIDE * (1 + (zones[one.country] >= _MANY)))
    ]


def _whose(town: Town, nearest: bool, longitude: float, latitude: float) -> str:
    far = f"{town.name}, {town.far(longitude, latitude) * EARTH:.0f} km"
    return f"the clock of the nearest town in the list ({far})" if nearest else f"a clock near by ({far})"


@lru_cache(maxsize=512)
def _shows(zone: str) -> tuple[timedelta | None, ...]:
    """Return by how much a clock is ahead of UTC in January and in July."""
    return tuple(datetime(_YEAR, month, 1, tzinfo=ZoneInfo(zone)).utcoffset() for month in (1, 7))
