"""Time zones for the clock of an export: those that a heading says, and those in use near a place."""

import math
import re
from importlib.resources import files

#: What a heading says of a clock beside offsets: that it is UTC, the GPS time scale, or local.
_UTC, _GPS, _LOCAL = (
    {"utc", "gmt", "zulu"},
    {"gps", "gpst"},
    {"local", "lokal", "lokale", "locale", "locales", "ortszeit"},
)
_UTC |= {"utctime", "timeutc", "utcdate", "dateutc", "gmttime"}
_LOCAL |= {"localtime", "localdate", "lokalzeit"}
#: An offset: behind UTC or GMT, in brackets, or with hours and minutes.
_OFFSET = re.compile(
    r"(?:(?:utc|gmt)[ _]?|[(\[] ?)(?P<sign>[+\-\u2212\u2013]) ?(?P<hours>\d{1,2})(?::?(?P<minutes>\d\d))?(?!\d)"
    r"|(?P<alone>[+\-\u2212\u2013]\d\d:\d\d)(?!\d)",
    re.IGNORECASE,
)
#: Figures behind UTC without a sign, or the zones of a database whose sign is the other one: nobody can tell.
_UNCLEAR = re.compile(r"(?:utc|gmt)[ _:]*\d|etc/gmt", re.IGNORECASE)
_MOST = 14

_PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")


def zone_said(heading: str) -> str | None:
    """Return the zone that a heading says, as a job file has it; "" for a local clock, None where it says nothing."""
    if _UNCLEAR.search(heading):
        return None
    if found := _OFFSET.search(heading):
        text = found["alone"] or f"{found['sign']}{int(found['hours']):02d}:{found['minutes'] or '00'}"
        text = re.sub("[\u2212\u2013]", "-", text)
        return text if int(text[1:3]) <= _MOST and int(text[4:]) < 60 else None
    said = set(re.findall(r"[a-z]+", re.sub(r"([a-z])([A-Z])", r"\1 \2", heading).casefold()))
    if said & _LOCAL:
        return ""
    return "UTC" if said & _UTC else "GPS" if said & _GPS else None


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
