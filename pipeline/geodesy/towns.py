"""Says where a place is by the nearest of the towns that time zones are called after: a few hundred in all."""

import math
import re
from functools import lru_cache
from importlib.resources import files

from msgspec import Struct

from pipeline.sphere import RADIUS

_PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")
#: Kilometres in a radian on the ground.
EARTH = RADIUS / 1000.0
_SIDES = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


class Town(Struct, frozen=True):
    """The town that a time zone is called after: its country's code and its place [rad]."""

    zone: str
    country: str
    longitude: float
    latitude: float

    @property
    def name(self) -> str:
        """Return the town as it is written: "New York"."""
        return self.zone.rsplit("/", 1)[-1].replace("_", " ")

    def far(self, longitude: float, latitude: float) -> float:
        """Return how far it is from a place [deg]: the angle at the earth's centre [rad]."""
        up, across = math.radians(latitude), math.radians(longitude) - self.longitude
        cosine = math.sin(up) * math.sin(self.latitude) + math.cos(up) * math.cos(self.latitude) * math.cos(across)
        return math.acos(max(-1.0, min(1.0, cosine)))


def towns_by_distance(longitude: float, latitude: float) -> list[Town]:
    """Return all towns, those nearest to a place [deg] first."""
    return sorted(_towns(), key=lambda one: (one.far(longitude, latitude), one.zone))


def whereabouts(longitude: float, latitude: float) -> str:
    """Return in words where a place [deg] is: by longitude and latitude, and by the nearest town in the list."""
    town = towns_by_distance(longitude, latitude)[0]
    away = town.far(longitude, latitude) * EARTH
    return f"at {longitude:.2f}, {latitude:.2f}, {away:,.0f} km {_side(town, longitude, latitude)} of {town.name}"


def _side(town: Town, longitude: float, latitude: float) -> str:
    """Return on which side of a town a place [deg] lies, as one sets out from there."""
    up, across = math.radians(latitude), math.radians(longitude) - town.longitude
    east = math.sin(across) * math.cos(up)
    north = math.cos(town.latitude) * math.sin(up) - math.sin(town.latitude) * math.cos(up) * math.cos(across)
    return _SIDES[round(math.degrees(math.atan2(east, north)) / 45.0) % 8]


def table(name: str) -> list[list[str]]:
    """Return the rows of a table of the time zones: "zone.tab", "iso3166.tab"."""
    text = (files("tzdata") / "zoneinfo" / name).read_text(encoding="utf-8")
    return [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]


@lru_cache(maxsize=1)
def _towns() -> tuple[Town, ...]:
    return tuple(Town(zone, country, *_read(place)) for country, place, zone, *_ in table("zone.tab"))


def _read(place: str) -> tuple[float, float]:
    """Return longitude and latitude [rad] of a place as the table writes it."""
    found = _PLACE.fullmatch(place)
    assert found is not None
    north, east = (
        (-1 if sign == "-" else 1) * (int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600)
        for sign, degrees, minutes, seconds in (found.groups()[:4], found.groups()[4:])
    )
    return math.radians(east), math.radians(north)
