"""Dates and times written as fields (year, month, ..., offset) into milliseconds, by pattern, a column at a time."""

import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import MONTHS
from pipeline.files.halves_of_day import AFTERNOON_WRITTEN, HALF_WRITTEN
from pipeline.job.time_format import QUOTED, parts_of

_FULL = "january|february|march|april|may|june|july|august|september|october|november|december"
_ZONE = r"[zZ]|[+-]\d\d(?::?\d\d)?"

#: Signs that stand as a blank: ours, and those that keep a line together, as spreadsheets write before "PM".
_BLANK = "[ \t\u00a0\u2007\u2009\u200a\u202f\u3000]"
#: The days of the week in any of these scripts, which are passed over: the date says the day.
WEEKDAY = (
    "(?i:[a-z\u00c0-\u024f\u0370-\u03ff\u0400-\u04ff\u1e00-\u1eff]{2,13})"
    r"|(?:星期|周|週)?[月火水木金土日一二三四五六天](?:曜日|曜)?|[월화수목금토일](?:요일)?"
)

#: The directives of `time_format.KNOWN`.
_DIRECTIVES = {
    "Y": r"(?P<year>\d{4})",
    "y": r"(?P<short>\d\d)",
    "m": r"(?P<month>\d{1,2})",
    "d": r"(?P<day>\d{1,2})",
    "j": r"(?P<ordinal>\d{1,3})",
    "G": r"(?P<year>\d{4})",
    "V": r"(?P<week>\d{1,2})",
    "u": r"(?P<weekday>\d)",
    "H": r"(?P<hour>\d{1,2})",
    "I": r"(?P<half>\d{1,2})",
    "M": r"(?P<minute>\d{1,2})",
    "S": r"(?P<second>\d{1,2})",
    "f": r"(?P<fraction>\d{1,12})",
    "p": f"(?P<noon>(?i:{HALF_WRITTEN}))",
    "b": rf"(?P<name>(?i:{_FULL}|sept|{'|'.join(MONTHS)}))",
    "a": f"(?:{WEEKDAY})",
    "z": rf"(?P<zone>{_ZONE})",
    "%": "%",
}
#: Those of figures alone.
_FIGURES = frozenset("YymdjGVuHIMSf")
_DIRECTIVES |= {"B": _DIRECTIVES["b"], "h": _DIRECTIVES["b"], "A": _DIRECTIVES["a"]}


class Fields(Struct, frozen=True):
    """A column taken apart: rows that have the pattern, rows whose date and time exist, and their milliseconds.

    Milliseconds since 1970 on the clock that was read; where ``zoned`` the ``offset``, in minutes, is taken off: they
    are UTC.
    """

    matched: Flags
    real: Flags
    zoned: Flags
    milliseconds: Integers
    offset: Integers


@dataclass(frozen=True)
class Pattern:
    """A regular expression whose named groups are the fields of a date and time."""

    expression: str

    @cached_property
    def _groups(self) -> frozenset[str]:
        return frozenset(re.compile(self.expression).groupindex)

    def matched(self, cells: pa.Array) -> Flags:
        """Return (n,) which cells of a column of texts have the pattern."""
        return _there(pc.extract_regex(cells, self.expression))

    def halves(self, cells: pa.Array) -> list[str]:
        """Return each different text, of those that have the pattern, that says the half of the day."""
        if "noon" not in self._groups:
            return []
        found = pc.unique(pc.struct_field(pc.extract_regex(cells, self.expression), "noon"))
        return [text for text in found.to_pylist() if text]

    def read(self, cells: pa.Array) -> Fields:
        """Take a column of texts apart."""
        found = pc.extract_regex(cells, self.expression)
        parts, matched = _Parts(found, self._groups), _there(found)
        days, real = parts.days()
        hour, sound = parts.hour()
        minute, second = parts.number("minute"), parts.number("second")
        offset, zoned, possible = parts.offset()
        real &= matched & sound & (minute < 60) & (second < 60) & possible
        seconds = ((days * 24 + hour) * 60 + minute - offset) * 60 + second
        milliseconds = np.where(real, seconds * 1000 + parts.milliseconds(), 0)
        return Fields(matched, real, zoned & real, milliseconds, np.where(zoned & real, offset, 0))


class _Parts:
    """The groups of a match as whole numbers; a group that the pattern has not, or that is empty, is zero."""

    def __init__(self, found: pa.Array, groups: frozenset[str]) -> None:
        self._found, self._groups = found, groups

    def text(self, name: str) -> pa.Array:
        if name not in self._groups:
            return pa.array([""] * len(self._found), pa.string())
        return pc.fill_null(pc.struct_field(self._found, name), "")

    def number(self, name: str) -> Integers:
        if name not in self._groups:
            return np.zeros(len(self._found), dtype=np.int64)
        text = self.text(name)
        return _integers(pc.if_else(pc.equal(text, ""), "0", text))

    def days(self) -> tuple[Integers, Flags]:
        """Return days since 1970-01-01 and whether the date exists, by what the pattern says of it."""
        if "ordinal" in self._groups:
            return _days_of_year(self.year(), self.number("ordinal"))
        if "week" in self._groups:
            return _days_of_weeks(self.year(), self.number("week"), self.number("weekday"))
        return _days(self.year(), self.month(), self.number("day"))

    def year(self) -> Integers:
        if "short" not in self._groups:
            return self.number("year")
        short = self.number("short")
        return np.where(short < 69, 2000 + short, 1900 + short)  # as POSIX strptime

    def month(self) -> Integers:
        if "name" not in self._groups:
            return self.number("month")
        name = pc.utf8_slice_codeunits(pc.utf8_lower(self.text("name")), 0, 3)
        return _integers(pc.fill_null(pc.index_in(name, pa.array(MONTHS)), -1)) + 1

    def hour(self) -> tuple[Integers, Flags]:
        if "half" not in self._groups:
            hour = self.number("hour")
            return hour, hour < 24
        half = self.number("half")
        afternoon = pc.match_substring_regex(self.text("noon"), f"^(?i:{AFTERNOON_WRITTEN})$")
        afternoon = afternoon.to_numpy(zero_copy_only=False)
        return half % 12 + np.where(afternoon, 12, 0), (half >= 1) & (half <= 12)

    def milliseconds(self) -> Integers:
        """Round the fraction of a second; cut beyond the ninth digit."""
        if "fraction" not in self._groups:
            return np.zeros(len(self._found), dtype=np.int64)
        digits = pc.utf8_slice_codeunits(pc.utf8_rpad(self.text("fraction"), 9, "0"), 0, 9)
        return (_integers(digits) + 500_000) // 1_000_000

    def offset(self) -> tuple[Integers, Flags, Flags]:
        """Return minutes east of UTC, whether an offset stands there at all, and whether it is a possible one."""
        text = self.text("zone")
        zoned = pc.not_equal(text, "").to_numpy(zero_copy_only=False)
        signed = pc.match_substring_regex(text, r"^[+-]")
        digits = pc.utf8_rpad(pc.replace_substring(pc.utf8_slice_codeunits(text, 1), ":", ""), 4, "0")
        number = _integers(pc.if_else(signed, digits, "0"))
        minutes = number // 100 * 60 + number % 100
        west = pc.starts_with(text, "-").to_numpy(zero_copy_only=False)
        return np.where(west, -minutes, minutes), zoned, (number % 100 < 60) & (minutes <= 18 * 60)


def _there(cells: pa.Array) -> Flags:
    there: Flags = cells.is_valid().to_numpy(zero_copy_only=False)
    return there


def _integers(text: pa.Array) -> Integers:
    values: Integers = pc.cast(text, pa.int64()).to_numpy(zero_copy_only=False)
    return values


def _days(year: Integers, month: Integers, day: Integers) -> tuple[Integers, Flags]:
    """Return days since 1970-01-01 and whether the date exists."""
    possible = (month >= 1) & (month <= 12) & (day >= 1)
    months = (year - 1970) * 12 + np.where(possible, month - 1, 0)
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    after = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return first + day - 1, possible & (day <= after - first)


def _new_year(year: Integers) -> Integers:
    """Return the first of January of years, in days since 1970-01-01."""
    return np.asarray((year - 1970).astype("datetime64[Y]").astype("datetime64[D]").astype(np.int64))


def _days_of_year(year: Integers, day: Integers) -> tuple[Integers, Flags]:
    """Return days since 1970-01-01 of days of the year, and whether these exist: 1 is the first of January."""
    first = _new_year(year)
    return first + day - 1, (day >= 1) & (day <= _new_year(year + 1) - first)


def _days_of_weeks(year: Integers, week: Integers, weekday: Integers) -> tuple[Integers, Flags]:
    """Return days since 1970-01-01 of weekdays, 1 to 7 from Monday on, of the weeks of ISO 8601; and which exist.

    The first week of a year is that with its fourth of January.
    """
    first, following = (_monday(_new_year(each) + 3) for each in (year, year + 1))
    day = first + (week - 1) * 7 + weekday - 1
    return day, (week >= 1) & (weekday >= 1) & (weekday <= 7) & (day < following)


def _monday(day: Integers) -> Integers:
    """Return the Monday on or before days since 1970-01-01, a Thursday."""
    return day - (day + 3) % 7


#: ISO 8601, extended or basic, to the minute at least, with comma or point before a fraction, an offset, Z or " UTC".
ISO = Pattern(
    r"^(?P<year>\d{4})-?(?P<month>\d\d)-?(?P<day>\d\d)[Tt ](?P<hour>\d\d):?(?P<minute>\d\d)"
    r"(?::?(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,12}))?)?"
    rf" ?(?P<zone>{_ZONE}|UTC)?$"
)


def _literally(text: str) -> str:
    """Return the pattern of what stands between directives: any blanks for some, quotes only where they are there."""
    pieces = [re.sub(r"(?:\\?\s)+", f"{_BLANK}+", re.escape(piece)) for piece in QUOTED.split(text)]
    return "".join(f"'?{piece}'?" if at % 2 else piece for at, piece in enumerate(pieces))


def _in_a_run(directive: str) -> str:
    """Return the pattern of a directive of figures with all the figures that it has."""
    return directive.replace(r"\d{1,2}", r"\d\d").replace(r"\d{1,3}", r"\d{3}")


def pattern_of(time_format: str) -> Pattern:
    """Turn a format as strptime knows it into a pattern.

    Raises ValueError, saying what is wrong, where `time_format.parts_of` does.
    """
    parts = parts_of(time_format)
    figures = [directive in _FIGURES for directive, _ in parts]
    # in a run of figures each part has all of its own: 260310 is no 2603-1-0, and 2026070 is day 70
    runs = [
        each and (before or after)
        for each, before, after in zip(figures, [False, *figures], [*figures[1:], False], strict=False)
    ]
    pieces = [
        _literally(literal) if literal else _in_a_run(_DIRECTIVES[directive]) if run else _DIRECTIVES[directive]
        for (directive, literal), run in zip(parts, runs, strict=True)
    ]
    return Pattern("^" + "".join(pieces) + "$")
