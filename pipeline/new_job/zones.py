"""Lists the time zones in use near a place, and the country that it is in."""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

_PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")
#: The town of another country is listed up to so many times as far away as the nearest: the table has no borders.
_AS_NEAR = 1.5


@dataclass(frozen=True)
class _Town:
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


def zones_near(longitude: float, latitude: float, most: int = 3) -> list[str]:
    """Return the names of the time zones whose towns lie nearest to a place [deg], the nearest first.

    They are the country's of the nearest town, and another's only if its town is about as near.
    """
    first, *others = _by_distance(longitude, latitude)
    reach = _AS_NEAR * first.far(longitude, latitude)
    near = [one for one in others if one.country == first.country or one.far(longitude, latitude) <= reach]
    return [one.zone for one in (first, *near)][:most]


def country_at(longitude: float, latitude: float) -> tuple[str, ...]:
    """Return names of the country of the nearest town to a place [deg]: "New Zealand"; "Britain", "UK"."""
    code = _by_distance(longitude, latitude)[0].country
    name = next(name for each, name in _rows("iso3166.tab") if each == code)
    short = re.findall(r"\(([A-Z]+)\)", name)
    return (re.sub(r" *\(.*\)", "", name).replace("&", "and"), *short)


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
