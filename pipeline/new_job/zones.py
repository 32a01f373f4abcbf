"""Lists the time zones in use near a place."""

import math
import re
from importlib.resources import files

_PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")


def zones_near(longitude: float, latitude: float, most: int = 3) -> list[str]:
    """Return the names of the time zones whose towns lie nearest to a place [deg], the nearest first."""
    table = (files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    known = [line.split("\t") for line in table.splitlines() if line and not line.startswith("#")]
    far = [(_far(row[1], longitude, latitude), row[2]) for row in known]
    return [name for _, name in sorted(far)[:most]]


def _far(place: str, longitude: float, latitude: float) -> float:
    found = _PLACE.fullmatch(place)
    assert found is not None
    north, east = (
        (-1 if sign == "-" else 1) * (int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600)
        for sign, degrees, minutes, seconds in (found.groups()[:4], found.groups()[4:])
    )
    up, there = math.radians(north), math.radians(latitude)
    across = math.radians(east - longitude)
    # what grows with the angle between the two
    return -(math.sin(up) * math.sin(there) + math.cos(up) * math.cos(there) * math.cos(across))
