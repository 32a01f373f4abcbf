"""The clock that the text of a ``time_format`` states beside its directives: "UTC+1", "MEZ", "Z", "GPS"."""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from pipeline.job.time_format import COUNTS, parts_of
from pipeline.job.time_zones import ABBREVIATIONS

#: Offsets of names of clocks beside those that `time_zones` suggests a place for; all of a name of several clocks.
_MORE = {
    "OEZ": ("+02:00",), "OESZ": ("+03:00",), "MET": ("+01:00",), "MEST": ("+02:00",), "МСК": ("+03:00",),
    "EST": ("+10:00",), "EDT": ("+11:00",), "CST": ("+09:30",), "CDT": ("+10:30",), "MST": ("+08:00",),
    "PST": ("+08:00",), "ADT": ("+04:00",), "GST": ("+04:00", "-02:00"), "SST": ("+08:00", "-11:00"),
    "WIB": ("+07:00",), "WITA": ("+08:00",), "WIT": ("+09:00",), "ICT": ("+07:00",), "PHT": ("+08:00",),
    "MYT": ("+08:00",), "PKT": ("+05:00",), "NPT": ("+05:45",), "IRST": ("+03:30",), "CLT": ("-04:00",),
    "CLST": ("-03:00",), "COT": ("-05:00",), "PET": ("-05:00",), "ECT": ("-05:00",), "VET": ("-04:00",),
    "BOT": ("-04:00",), "UYT": ("-03:00",), "PYT": ("-03:00", "-04:00"),
}  # fmt: skip
_UTC = frozenset(["UTC", "GMT", "UT", "TU", "TUC", "Z", "ZULU"])
_GPS = frozenset(["GPS", "GPST"])
#: What stands for a directive where the text between them is looked at.
_FIELD = "\0"
_SIGN = r"(?P<sign>[+\-\u2212\u2013])"
#: An offset behind a name of UTC, however short.
_NAMED_OFFSET = re.compile(rf"\b(?:UTC|GMT|UT|Z) ?{_SIGN} ?(?P<hours>\d{{1,2}})(?::?(?P<minutes>\d\d))?(?!\d)", re.I)
#: One alone, behind a field or decimals: hours and minutes.
_OFFSET_ALONE = re.compile(rf"(?<=[{_FIELD}\d])[ (]{{0,2}}{_SIGN}(?P<hours>\d\d):?(?P<minutes>\d\d)(?!\d)")
#: Hours alone at the end; only where seconds stand before it, else it may be the seconds.
_HOURS_ALONE = re.compile(rf"(?<=[{_FIELD}\d]) ?{_SIGN}(?P<hours>\d\d)(?P<minutes>)$")
#: Days of a year that between them have every offset of a zone that changes its clocks.
_DAYS = tuple(datetime(year, month, 1, tzinfo=UTC) for year in (2010, 2026) for month in range(1, 13))


@dataclass(frozen=True)
class WrittenClock:
    """What a format's own text states: ``text`` as it is there, ``zones`` as a job file has them, several if unclear.

    ``figures`` tells whether ``text`` is an offset that %z reads in its place.
    """

    text: str
    zones: tuple[str, ...]
    figures: bool = False

    def agrees(self, zone: str) -> bool:
        """Tell whether ``time_zone`` says the same: an IANA name does if its clocks show one of the offsets."""
        if zone in self.zones or ("UTC" in self.zones and zone in ("+00:00", "-00:00", "Etc/UTC")):
            return True
        if zone == "UTC":
            return "+00:00" in self.zones
        if zone == "GPS" or zone[:1] in ("+", "-"):
            return False
        # universal time is nobody's local clock, Greenwich's own apart
        known = {"+00:00"} if self.text.upper() == "GMT" else {each for each in self.zones if each[0] in "+-"}
        offsets = {day.astimezone(ZoneInfo(zone)).utcoffset() for day in _DAYS}
        return any(_of(each) in offsets for each in known)


def written_clock(time_format: str | None) -> WrittenClock | None:
    """Return the clock that the text between directives states; None where it states none, or %z reads it.

    Raises ValueError as `time_format.parts_of` does.
    """
    if time_format is None or time_format in COUNTS:
        return None
    parts = parts_of(time_format)
    used = [directive for directive, literal in parts if not literal]
    if "z" in used:
        return None
    text = "".join(literal or _FIELD for _, literal in parts)
    seconds = (_HOURS_ALONE,) if "S" in used or "f" in used else ()
    for look in (_NAMED_OFFSET, _OFFSET_ALONE, *seconds):
        if (found := look.search(text)) is not None and int(found["hours"]) <= 14:
            sign = "+" if found["sign"] == "+" else "-"
            zone = f"{sign}{int(found['hours']):02d}:{found['minutes'] or '00'}"
            return WrittenClock(found[0].strip(" ("), (zone,), len(found["hours"]) == 2)
    for word in re.findall(r"[^\W\d_]+", text):
        if word in _GPS:
            return WrittenClock(word, ("GPS",))
        if word in _UTC or word.upper() in ("UTC", "GMT"):
            return WrittenClock(word, ("UTC",))
        if zones := (*(offset for offset, _ in ABBREVIATIONS.get(word, ())), *_MORE.get(word, ())):
            return WrittenClock(word, tuple(dict.fromkeys(zones)))
    return None


def clock_problem(time_format: str, zone: str) -> tuple[str, str] | None:
    """Return what is wrong where a format's text states another clock than ``zone``, and what to write; else None."""
    stated = written_clock(time_format)
    if stated is None or stated.agrees(zone):
        return None
    zones = [f'"{each}"' for each in stated.zones]
    of = "the GPS time scale" if stated.zones == ("GPS",) else " or ".join(stated.zones)
    what = (
        f'time_format has "{stated.text}" in it, which states {of}, but letters of a format are only compared with'
        f' the file: the times would be read by time_zone = "{zone}"'
    )
    fix = f"write time_zone = {' or '.join(zones)} for this block"
    if stated.figures:
        digits = re.sub("^[^+\u2212\u2013-]*", "", stated.text)
        fix += f', or %z in place of "{digits}" in time_format'
    return what, fix


def _of(offset: str) -> timedelta:
    east = timedelta(hours=int(offset[1:3]), minutes=int(offset[4:]))
    return -east if offset[0] == "-" else east
