"""The clock that the text of a ``time_format`` states beside its directives: "UTC+1", "MEZ", "Z", "GPS"."""

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from msgspec import Struct

from pipeline.job.clock_names import CLOCK_NAMES
from pipeline.job.time_format import COUNTS, QUOTED, parts_of
from pipeline.job.time_zones import fixed_offset
from pipeline.job.toml_text import quoted

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
#: The directives of a time of day: behind the last of them Z is universal time, elsewhere it labels a column or a time.
_OF_DAY = frozenset("HIMSfp")
#: Days that between them have every offset that a zone had in the years of satellite surveys.
_DAYS = tuple(datetime(year, month, 1, tzinfo=UTC) for year in range(2000, 2031) for month in range(1, 13))


class WrittenClock(Struct, frozen=True):
    """What a format's own text states: ``text`` as it is there, ``zones`` as a job file has them, several if unclear.

    ``figures`` tells whether ``text`` is an offset that %z reads in its place. ``also`` are less usual offsets of a
    name, of other years or places.
    """

    text: str
    zones: tuple[str, ...]
    figures: bool = False
    also: tuple[str, ...] = ()

    def agrees(self, zone: str) -> bool:
        """Tell whether ``time_zone`` says the same: an IANA name does if its clocks ever showed one of the offsets.

        So it does if they go by that name there. Universal time is that of places that keep it all year alone.
        """
        zone = "+00:00" if zone in ("-00:00", "UTC") else zone
        known = {"+00:00" if each == "UTC" else each for each in (*self.zones, *self.also)}
        if zone == "GPS" or zone[:1] in ("+", "-"):
            return zone in known
        days = [day.astimezone(ZoneInfo(zone)) for day in _DAYS]
        offsets = {day.utcoffset() for day in days}
        if "UTC" in self.zones and self.text.upper() != "GMT":
            return offsets == {timedelta(0)}
        named = self.text.upper() in {day.tzname() for day in days}
        return named or any(fixed_offset(each) in offsets for each in known if each[0] in "+-")


def written_clock(time_format: str | None) -> WrittenClock | None:
    """Return the clock that the text between directives states; None where it states none, or %z reads it.

    What stands in quotes there states none.

    Raises ValueError as `time_format.parts_of` does.
    """
    if time_format is None or time_format in COUNTS:
        return None
    parts = parts_of(time_format)
    used = [directive for directive, literal in parts if not literal]
    if "z" in used:
        return None
    pieces = [QUOTED.sub("'", literal) or _FIELD for _, literal in parts]
    text = "".join(pieces)
    of_day = [place for place, (directive, _) in enumerate(parts) if directive in _OF_DAY]
    behind = len("".join(pieces[: of_day[-1] + 1]))
    seconds = (_HOURS_ALONE,) if "S" in used or "f" in used else ()
    for look in (_NAMED_OFFSET, _OFFSET_ALONE, *seconds):
        if (found := look.search(text)) is not None and int(found["hours"]) <= 14:
            sign = "+" if found["sign"] == "+" else "-"
            zone = f"{sign}{int(found['hours']):02d}:{found['minutes'] or '00'}"
            return WrittenClock(found[0].strip(" ("), (zone,), len(found["hours"]) == 2)
    for found in re.finditer(r"[^\W\d_]+", text):
        word = found[0]
        if word in _GPS:
            return WrittenClock(word, ("GPS",))
        if word == "Z" and found.start() < behind:
            continue
        if word in _UTC or word.upper() in ("UTC", "GMT"):
            return WrittenClock(word, ("UTC",))
        if (name := CLOCK_NAMES.get(word)) is not None:
            return WrittenClock(word, name.usual, also=tuple(each for each in name.also if each not in name.usual))
    return None


def clock_problem(time_format: str, zone: str) -> tuple[str, str] | None:
    """Return what is wrong where a format's text states another clock than ``zone``, and what to write; else None."""
    stated = written_clock(time_format)
    if stated is None or stated.agrees(zone):
        return None
    every = (*stated.zones, *stated.also)
    zones = [f'"{each}"' for each in every]
    of = "the GPS time scale" if stated.zones == ("GPS",) else " or ".join(every)
    what = (
        f'time_format has "{stated.text}" in it, which states {of}, but letters of a format are only compared with'
        f' the file: the times would be read by time_zone = "{zone}"'
    )
    which = ", whichever it was," if len(zones) > 1 else ""
    fix = f"write time_zone = {' or '.join(zones)}{which} for this block"
    if stated.figures:
        digits = re.sub("^[^+\u2212\u2013-]*", "", stated.text)
        fix += f', or %z in place of "{digits}" in time_format'
    no_clock = f'if "{stated.text}" is no clock there, put it in quotes: time_format = {quoted(_unsaid(time_format))}'
    return what, f"{fix}; {no_clock}"


def _unsaid(time_format: str) -> str:
    """Return a format with quotes round all clocks that its text states."""
    while (stated := written_clock(time_format)) is not None:
        word = rf"(?<![^\W\d_]){re.escape(stated.text)}(?![^\W_])"
        pieces = re.findall(r"%.|'[^'%]+'|(?:(?!'[^'%]+')[^%])+", time_format, re.DOTALL)
        at = next((at for at, each in enumerate(pieces) if each[0] not in "%'" and re.search(word, each)), None)
        if at is None:
            return time_format
        pieces[at] = re.sub(word, lambda found: f"'{found[0]}'", pieces[at], count=1)
        time_format = "".join(pieces)
    return time_format
