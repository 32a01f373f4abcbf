"""Time zones as a job file may name them, and what to write in the place of what it may not."""

import hashlib
import re
import zoneinfo
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from pipeline.clock import LEAP_SECONDS
from pipeline.job.clock_names import CLOCK_NAMES
from pipeline.near import nearest

#: The forms that are read.
FORMS = 'an IANA name such as "Pacific/Auckland", an offset such as "+12:00", "UTC" or "GPS"'

_OFFSET = re.compile(r"[+-](0[0-9]|1[0-4]):[0-5][0-9]")
_FIXED_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)")
_LOCAL = {"localtime", "posixrules"}  # found on some machines; they mean whatever that machine is set to

#: An offset in other spellings, "UTC+2", "GMT +02:00", "+2", "+0200" and the like.
_LOOSE = re.compile(
    r"(?:UTC|GMT|Z)?\s*(?P<sign>[+\-−–])\s*(?P<hours>\d{1,2})(?::?(?P<minutes>\d\d))?\s*h?", re.IGNORECASE
)
_REVERSED = re.compile(r"Etc/GMT([+-])(\d{1,2})")

#: IANA names that stand still all year, whatever the clocks at the place do.
_FIXED = {"EST", "MST", "HST"}


def zone_problem(zone: str) -> tuple[str, str] | None:
    """Return what is wrong with a time zone and what to write instead, or None where it can be used."""
    if zone == "GPS" or _OFFSET.fullmatch(zone) or (zone not in _FIXED and _is_iana(zone)):
        return None
    short = zone.strip().upper()
    if zone in _FIXED:
        offset, place = CLOCK_NAMES[zone].places[0]
        what = f"the time zone '{zone}' is {offset} all year, also where the clocks go forward in summer"
        return what, f'write the place, such as "{place}", or "{offset}" where the clock never changes'
    return f"the time zone '{zone}' is not known", _instead(zone, short)


def fixed_offset(zone: str) -> timedelta | None:
    """Return how far east of UTC an offset such as "+05:30" is; None for what is none, as an IANA name."""
    match = _FIXED_OFFSET.fullmatch(zone)
    if match is None:
        return None
    east = timedelta(hours=int(match[2]), minutes=int(match[3]))
    return -east if match[1] == "-" else east


def localised(value: datetime, zone: str) -> datetime:
    """Return a time without an offset as one on the clock of a zone, with the offset that holds there then.

    Raises ValueError, saying what to write, where the clocks are changed and the time comes twice or never.
    """
    if zone == "GPS":
        for day, seconds in reversed(LEAP_SECONDS):
            if (utc := value - timedelta(seconds=seconds)) >= datetime.fromisoformat(day):
                return utc.replace(tzinfo=UTC)
        raise ValueError(f"{value.isoformat()} is before {LEAP_SECONDS[0][0]}: its leap seconds are not known here")
    if (east := fixed_offset(zone)) is not None:
        return value.replace(tzinfo=timezone(east))
    place = UTC if zone == "UTC" else ZoneInfo(zone)
    before, after = (value.replace(tzinfo=place, fold=fold).utcoffset() or timedelta(0) for fold in (0, 1))
    if before < after:
        raise ValueError(f"{value.isoformat()} does not exist in {zone}, where the clocks go forward")
    if before > after:
        ways = " or ".join(value.replace(tzinfo=timezone(each)).isoformat() for each in (before, after))
        raise ValueError(f"{value.isoformat()} comes twice in {zone}, where the clocks go back: write {ways}")
    return value.replace(tzinfo=timezone(before))  # one fixed offset: times of one zone are compared by their faces


def zone_rules(zone: str) -> str:
    """Return the sum of the file that has the rules of an IANA zone, "" of any other: they change with its database."""
    if not _is_iana(zone) or fixed_offset(zone) is not None:
        return ""
    parts = zone.split("/")
    places = [place for folder in zoneinfo.TZPATH if (place := Path(folder, *parts)).is_file()]
    rules = (places[0] if places else files("tzdata").joinpath("zoneinfo", *parts)).read_bytes()
    return hashlib.sha256(rules).hexdigest()


def on_clock(time: datetime, zone: str) -> datetime:
    """Return a time in UTC as the clock of a zone shows it: an IANA name or an offset, not GPS."""
    east = fixed_offset(zone)
    return time.astimezone(ZoneInfo(zone) if east is None else timezone(east))


def reversed_sign(zone: str) -> str | None:
    """Return the offset that a name such as "Etc/GMT+2" stands for, which has the other sign ("-02:00"); else None."""
    match = _REVERSED.fullmatch(zone)
    if match is None or match[2].strip("0") == "":
        return None
    return f"{'-' if match[1] == '+' else '+'}{int(match[2]):02d}:00"


def _instead(zone: str, short: str) -> str:
    if short in ("GPS", "GPST", "GPS TIME", "GPSTIME"):
        return 'write "GPS" for the GPS time scale'
    if short in ("UTC", "Z", "ZULU", "UT", "GMT", "UTC TIME"):
        return 'write "UTC"'
    loose = _LOOSE.fullmatch(zone.strip())
    if loose is not None:
        return _offset(loose)
    if short in CLOCK_NAMES and CLOCK_NAMES[short].places:
        return _abbreviation(short)
    known = {name.casefold(): name for name in _iana()}
    same = known.get(zone.strip().casefold().replace(" ", "_"))
    places = [name for name in _iana() if "/" in name and not name.startswith("Etc/")]
    near = [same] if same else _by_place(zone, places)
    meant = " or ".join(f"'{name}'" for name in near[:3])
    return (f"did you mean {meant}? " if near else "") + FORMS


def _offset(loose: "re.Match[str]") -> str:
    sign = "+" if loose["sign"] == "+" else "-"
    hours, minutes = int(loose["hours"]), int(loose["minutes"] or 0)
    text = f"{sign}{hours:02d}:{minutes:02d}"
    if not _OFFSET.fullmatch(text):
        return FORMS
    other = f'"Etc/GMT{sign}{hours}" would mean the other sign' if not minutes else ""
    way = "ahead of" if sign == "+" else "behind"
    far = f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f'write "{text}", {far} {way} UTC' + (f" ({other})" if other else "")


def _abbreviation(short: str) -> str:
    ways = [f'"{place}", or "{offset}" if the clock never changed' for offset, place in CLOCK_NAMES[short].places]
    several = " or ".join(place for _, place in CLOCK_NAMES[short].places)
    if len(ways) > 1:
        return f"it has more than one meaning ({several}): write the place, such as {ways[0]}"
    return f"write the place, such as {ways[0]}"


def _by_place(zone: str, places: list[str]) -> list[str]:
    """Return the zones whose town is spelled nearly like the one written, in its region if one is written.

    A region alone makes no zone near: another town's clock is another clock.
    """
    region, slash, town = zone.strip().replace(" ", "_").replace("\\", "/").rpartition("/")
    there = [name for name in places if slash and nearest(region, [name.rpartition("/")[0]])]
    by_town: dict[str, list[str]] = {}
    for name in there or places:
        by_town.setdefault(name.rpartition("/")[2], []).append(name)
    return [name for each in nearest(town, by_town, 1) for name in by_town[each]]


@cache
def _iana() -> tuple[str, ...]:
    return tuple(sorted(available_timezones() - _LOCAL))


def _is_iana(zone: str) -> bool:
    if zone in _LOCAL:
        return False
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
