"""Lists the time zones in use near a place, and the countries that may hold it."""

import math
import re
from collections import Counter
from datetime import datetime, timedelta
from functools import lru_cache
from importlib.resources import files
from zoneinfo import ZoneInfo

from msgspec import Struct

_PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")
#: Kilometres that a town of another country may be farther away than the nearest, twice that in one of so many zones.
_BESIDE, _MANY = 500.0, 4
#: Kilometres in a radian on the ground.
_EARTH = 6371.0
#: The year of which clocks are compared.
_YEAR = 2025


class _Town(Struct, frozen=True):
    """The town that a time zone is called after: its country's code and its place [rad]."""

    zone: str
    country: str
    longitude: float
    latitude: float

    def far(self, longitude: float, latitude: float) -> float:
        """Return how far it is from a place [deg]: the angle at the earth's centre [rad]."""
        up, across = math.radians(latitude), math.radians(longitude) - self.longitude
        cosine = math.sin(up) * math.sin(self.latitude) + math.cos(up) * math.cos(self.latitude) * math.cos(across)
        return math.acos(max(-1.0, min(1.0, cosine)))


class NearClock(Struct, frozen=True):
    """A time zone near a place, and in words whose clock it is: its town, and how far that is."""

    zone: str
    whose: str


def clocks_near(longitude: float, latitude: float, most: int = 8) -> list[NearClock]:
    """Return the clocks of all countries that may hold a place [deg], that of the nearest town first.

    The table has towns and no borders, so the nearest town may be a neighbour's: zones of towns about as near are
    listed too, of each country its nearest before its others, and clocks that differ before those that show the same.
    """
    every, within = _by_distance(longitude, latitude), _within_reach(longitude, latitude)
    first = every[0]
    heads = {id(one) for one in {one.country: one for one in reversed(within)}.values()}
    shown: set[tuple[timedelta | None, ...]] = set()
    ranked: list[tuple[bool, int, int, _Town]] = []
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
    names = {each: name for each, name in _rows("iso3166.tab")}
    return [_names(names[code]) for code in country_codes_near(longitude, latitude)]


def _names(name: str) -> tuple[str, ...]:
    short = re.findall(r"\(([A-Z]+)\)", name)
    return (re.sub(r" *\(.*\)", "", name).replace("&", "and"), *short)


def _within_reach(longitude: float, latitude: float) -> list[_Town]:
    """Return the towns whose country may hold a place, nearest first: some hundred km farther than the nearest town.

    In a country of many zones the next town is farther away.
    """
    every = _by_distance(longitude, latitude)
    nearest = every[0].far(longitude, latitude)
    zones = Counter(one.country for one in every)
    return [
        one
        for one in every
        if one.far(longitude, latitude) * _EARTH
        <= max(2.0 * nearest * _EARTH, nearest * _EARTH + _BESIDE * (1 + (zones[one.country] >= _MANY)))
    ]


def _whose(town: _Town, nearest: bool, longitude: float, latitude: float) -> str:
    far = f"{town.zone.rsplit('/', 1)[-1].replace('_', ' ')}, {town.far(longitude, latitude) * _EARTH:.0f} km"
    return f"the clock of the nearest town in the list ({far})" if nearest else f"a clock near by ({far})"


@lru_cache(maxsize=512)
def _shows(zone: str) -> tuple[timedelta | None, ...]:
    """Return by how much a clock is ahead of UTC in January and in July."""
    return tuple(datetime(_YEAR, month, 1, tzinfo=ZoneInfo(zone)).utcoffset() for month in (1, 7))


def _by_distance(longitude: float, latitude: float) -> list[_Town]:
    return sorted(_towns(), key=lambda one: (one.far(longitude, latitude), one.zone))


@lru_cache(maxsize=1)
def _towns() -> tuple[_Town, ...]:
    return tuple(_Town(zone, country, *_read(place)) for country, place, zone, *_ in _rows("zone.tab"))


def _rows(table: str) -> list[list[str]]:
    text = (files("tzdata") / "zoneinfo" / table).read_text(encoding="utf-8")
    return [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]


def _read(place: str) -> tuple[float, float]:
    """Return longitude and latitude [rad] of a place as the table writes it."""
    found = _PLACE.fullmatch(place)
    assert found is not None
    north, east = (
        (-1 if sign == "-" else 1) * (int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600)
        for sign, degrees, minutes, seconds in (found.groups()[:4], found.groups()[4:])
    )
    return math.radians(east), math.radians(north)
