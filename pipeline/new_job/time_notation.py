"""Finds how a column of times is written: as dates with times of day, in one order or several, or as counts."""

import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.files.halves_of_day import AFTERNOON, bare, is_short
from pipeline.job.time_format import likely_formats
from pipeline.new_job.values import MOSTLY, given, numbers_of
from pipeline.new_job.written_times import forms_of, is_clock, is_date
from pipeline.read.clock_fields import ISO, Pattern, pattern_of
from pipeline.read.two_columns import MIDNIGHT

_ZONED = re.compile(r"\d(?: ?[Zz]| ?UTC| ?[+-]\d\d(?::?\d\d)?)$")
#: What every date with a time of day has: a clock's sign, be it a point, or fourteen figures in a row.
_LIKE_TIME = re.compile(
    r"\d.*\d{1,2}:\d\d|\d[./-]\d{1,2}[./-]\d{1,4}[T ,]+\d{1,2}\.\d\d|\d{8}[ _T]?\d{4}|\d{4}-\d\d-\d\d[- ]\d\d-\d\d"
    r"|\d{4}-?(?:[0-3]\d\d|W\d\d-?[1-7])[Tt]\d\d"
    r"|(?:\d[日일]|\d[./-]\d{1,2}[./-]\d{1,4}) ?\d{1,2}[时時시点點] ?\d{1,2}[分분]"
)
_HOUR_IN_WORDS = re.compile(r"\d[时時시点點] ?\d")
_WITH_CLOCK = re.compile(r"\d{1,2}:\d\d|(?:\d{7}|W\d{3})\d?[Tt]\d{4}")
#: Formats that are tried besides those that a text's own look suggests.
_DATES = (
    "%d %b %Y",
    "%d-%b-%Y",
    "%d %B %Y",
    "%d/%b/%Y",
    "%b %d, %Y",
    "%d. %b %Y",
    "%Y-%b-%d",
    "%d-%b-%y",
    "%Y年%m月%d日",
    "%Y년 %m월 %d일",
)
_CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%I:%M:%S%p")
#: Times of day with words for hour, minute and second, which stand behind dates with such words and in figures.
_WORDED_CLOCKS = [
    *(f"%H{hour}%M{minute}%S{second}" for hour, minute, second in ("时分秒", "時分秒", "点分秒", "點分秒")),
    *(f"%H{hour}%M{minute}" for hour, minute in ("时分", "時分", "点分", "點分")),
    "%H시 %M분 %S초",
    "%H시%M분%S초",
    "%H시 %M분",
    "%H시%M분",
]
_WORDED_DATES = ("%Y年%m月%d日", "%Y년 %m월 %d일", "%Y년%m월%d일", "%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d")
_RUNS = ("%Y%m%d%H%M%S", "%Y%m%d %H%M%S", "%Y%m%d_%H%M%S", "%Y%m%d %H:%M:%S", "%Y-%m-%d-%H-%M-%S", "%Y-%m-%d, %H:%M:%S")


class TimeNotation(Struct, frozen=True):
    """How a column of times is written.

    ``formats`` are those that every row of it has: "" is ISO 8601, several where day, month and year may change places;
    ``decides`` is a row (from 0) and text that rules the other orders out, ``alone`` that no other row does; ``zoned``
    whether texts say their own zone. ``odd`` are rows and texts that speak against an order that is left, but are so
    few or so placed that they may be typing errors.
    """

    formats: tuple[str, ...]
    zoned: bool = False
    decides: tuple[int, str] | None = None
    alone: bool = False
    odd: tuple[tuple[int, str], ...] = ()


def time_notation(texts: Sequence[str]) -> TimeNotation | None:
    """Return how a column of dates with times of day is written, None where it holds none.

    Whatever is returned was tried on all the texts as they stand, as the reader will have them.
    """
    spaced = [_BLANK.sub(" ", text) for text in texts]
    how = _usual(spaced)
    patterns = [pattern_of(form) if form else ISO for form in how.formats] if how is not None else []
    if patterns and all(_share(pattern, given(texts)) >= MOSTLY for pattern in patterns):
        return how
    return _by_look(texts, spaced)


def _usual(texts: Sequence[str]) -> TimeNotation | None:
    """Return how times in ISO 8601, or with nothing beside date and time of day, are written; None for others."""
    some = given(texts)
    if not some or sum(bool(_LIKE_TIME.search(text)) for text in some) < MOSTLY * len(some):
        return None
    zoned = sum(bool(_ZONED.search(text) and _WITH_CLOCK.search(text)) for text in some) >= MOSTLY * len(some)
    if _share(ISO, some) >= MOSTLY and ISO.read(_array(some)).real.any():
        return TimeNotation(("",), zoned)
    tried = [form for text in some[:50] for form in likely_formats(text) if "%" in form]
    tried += [f"{date}{sign}{clock}" for date in _DATES for sign in (" ", ", ") for clock in _CLOCKS]
    if _HOUR_IN_WORDS.search(some[0]):
        tried += [f"{date}{sign}{clock}" for date in _WORDED_DATES for sign in (" ", "") for clock in _WORDED_CLOCKS]
    first = some[:30]
    likely = [form for form in dict.fromkeys([*tried, *_RUNS]) if _share(pattern_of(form), first) > 0]
    fitting = [form for form in likely if _share(pattern_of(form), some) >= MOSTLY and _any_real(form, some)]
    if not any(_mostly_real(form, some) for form in fitting):
        return None
    best = max(_share(pattern_of(form), some) for form in fitting)
    orders = tuple(form for form in fitting if _share(pattern_of(form), some) == best)
    either = len(orders) > 1 and all("%d" in form and "%m" in form for form in orders)
    return decided(orders, texts, zoned) if either else TimeNotation(orders[:1], zoned)


def _by_look(texts: Sequence[str], spaced: Sequence[str]) -> TimeNotation | None:
    """Return how times are written by the look of the first of them, with words, zones and marks beside; else None.

    ``texts`` are the cells as they stand, on which the formats are tried, ``spaced`` those with plain blanks.
    """
    some = given(texts)
    for text in dict.fromkeys(given(spaced)[:_LOOKED_AT]):
        forms = [form for form in forms_of(text) if _share(pattern_of(form), some) >= MOSTLY and _any_real(form, some)]
        if not any(_mostly_real(form, some) for form in forms) or not _tells_half(forms[0], some):
            continue
        if len(forms) > 1:
            return decided(tuple(forms), texts, "%z" in forms[0])
        return TimeNotation(tuple(forms), "%z" in forms[0])
    return None


def _tells_half(form: str, texts: Sequence[str]) -> bool:
    """Tell whether what a format takes for halves of the day are: short words mean much else unless both halves do."""
    if "%p" not in form:
        return True
    said = {half for half in pattern_of(form).halves(_array(texts)) if half}
    return not all(map(is_short, said)) or len({bare(half) in AFTERNOON for half in said}) > 1


#: So many texts are looked at; those above the first time are units and slips.
_LOOKED_AT = 20


def decided(orders: tuple[str, ...], texts: Sequence[str], zoned: bool) -> TimeNotation:
    """Let rows with numbers that are no month or no day rule orders of day, month and year out.

    Few rows that stand alone among others of one date rule nothing out: one digit typed wrong may make them.
    """
    unreal = {form: _unreal(form, texts) for form in orders}
    fitting = [form for form in orders if not unreal[form]]
    odd = {form: rows for form, rows in unreal.items() if rows and (not fitting or _may_be_slips(rows, texts))}
    left = tuple(form for form in orders if form in fitting or form in odd)
    if len(left) == 1 and len(orders) > 1:
        deciding = [row for form, rows in unreal.items() if form not in left for row in rows]
        row = min(deciding)
        return TimeNotation(left, zoned, (row, texts[row]), alone=len(set(deciding)) == 1)
    fewest = min(odd.values(), key=len, default=[])
    return TimeNotation(left, zoned, odd=tuple((row, texts[row]) for row in fewest[:_ODD]))


#: So many rows may be typing errors at most, and one in so many.
_ODD, _IN = 3, 5


def _may_be_slips(rows: Sequence[int], texts: Sequence[str]) -> bool:
    """Tell whether rows are few, and each stands between rows of one date: days do not go and come back."""
    there = [at for at, text in enumerate(texts) if text]
    if len(rows) > _ODD or _IN * len(rows) > len(there):
        return False
    sound = [at for at in there if at not in rows]
    for row in rows:
        before = [at for at in sound if at < row][-1:]
        after = [at for at in sound if at > row][:1]
        if not before or not after or _date_of(texts[before[0]]) != _date_of(texts[after[0]]):
            return False
    return True


_DATE_WITHIN = re.compile(r"[0-9]{1,4}([./-]) ?[0-9]{1,2}\1 ?[0-9]{1,4}(?![0-9])")


def _date_of(text: str) -> str:
    found = _DATE_WITHIN.search(text)
    return found[0] if found is not None else re.split("[ T,]", text.strip())[0]


#: Words of `time_format` for times that are counted, with the least and the most that a count of this century is.
_COUNTS = {
    "unix-milliseconds": (9.0e11, 4.1e12),
    "unix-seconds": (9.0e8, 4.1e9),
    "serial-days": (36_500.0, 73_400.0),
}
#: The day that a spreadsheet counts from; and by how many days the clock of this machine may be behind.
_SERIAL, _A_YEAR = datetime(1899, 12, 30, tzinfo=UTC), 366
_WEEK_SECONDS = re.compile(r"\d{4}[ :;/]+\d{1,6}(?:[.,]\d+)?")


def counted_times(texts: Sequence[str], heading: str) -> TimeNotation | None:
    """Return how a column of times that are counted is written, None where it holds none.

    Seconds of the GPS time scale look like those since 1970: only a heading tells them apart.
    """
    some = given(texts)
    if _mostly(some, lambda text: _WEEK_SECONDS.fullmatch(text) is not None):
        return _as_counted("gps-week-seconds")
    values = numbers_of(texts)
    if values is None:
        return None
    known = values[np.isfinite(values)]
    for word, (least, most) in _COUNTS.items():
        if word == "serial-days" and are_yet_to_come(known):
            continue
        if ((known >= least) & (known <= most)).mean() >= MOSTLY:
            return _as_counted(*(_seconds(heading) if word == "unix-seconds" else (word,)))
    return None


def are_yet_to_come(days: Floats) -> bool:
    """Tell whether a spreadsheet's serial days (n,) are all of the future: modified Julian days of today look so."""
    today = (datetime.now(UTC) - _SERIAL).days
    return len(days) > 0 and float(days.min()) > today + _A_YEAR


def _seconds(heading: str) -> tuple[str, ...]:
    """Return the words for seconds that are counted, of which a heading may say one."""
    said = heading.casefold()
    if "gps" in said:
        return ("gps-seconds",)
    return ("unix-seconds",) if any(word in said for word in ("unix", "epoch", "posix")) else _SECONDS


_SECONDS = ("unix-seconds", "gps-seconds")


def _as_counted(*words_: str) -> TimeNotation:
    return TimeNotation(words_, zoned=not words_[0].startswith("serial"))


_MIDNIGHT = re.compile(MIDNIGHT)
#: Blanks of any kind, hard and narrow ones too.
_BLANK = re.compile(r"[ \t\u00a0\u2007\u2009\u200a\u202f\u3000]+")
_TIME_OF_DAY = re.compile(
    r"(?:\d{1,2}:\d\d(?::\d\d(?:[.,]\d+)?)?|\d{1,2}\.\d\d\.\d\d(?:[.,]\d+)?)(?:\s?[ap]\.?\s?m\.?)?"
    r"|\d{1,2}[时時시点點] ?\d{1,2}[分분] ?(?:\d{1,2}[秒초])?",
    re.IGNORECASE,
)
_DATE_ALONE = re.compile(
    r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[ ./-]?[A-Za-z]{3,9}\.?[ ./-]?\d{2,4}"
    r"|\d{4}年\d{1,2}月\d{1,2}日|\d{4}년 \d{1,2}월 \d{1,2}일"
)
#: A date and a time of day in figures alone, which other numbers may look like.
_DAY_RUN = re.compile(r"(?:19|20)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])")
#: A year with the day of the year, or with a week and its day.
_YEAR_DAY = re.compile(r"(?:19|20)\d\d(?:[-:/. ]?(?:[0-2]\d\d|3[0-6]\d)|-?[Ww][0-5]\d-?[1-7])")
_CLOCK_RUN = re.compile(r"(?:[01]\d|2[0-3])([-_]?)[0-5]\d\1[0-5]\d(?:[.,]\d+)?")


def is_day(texts: Sequence[str]) -> bool:
    """Tell whether a column holds dates without a time of day, or all at midnight, a few spoilt cells apart."""
    return _mostly(texts, _is_day)


def is_time_of_day(texts: Sequence[str]) -> bool:
    """Tell whether a column holds times of day without a date, a few spoilt cells apart."""
    return _mostly(texts, lambda text: _TIME_OF_DAY.fullmatch(text) is not None or is_clock(_BLANK.sub(" ", text)))


def _is_day(text: str) -> bool:
    text = _MIDNIGHT.sub("", text)
    return _DATE_ALONE.fullmatch(text) is not None or is_date(_BLANK.sub(" ", text))


def is_day_run(texts: Sequence[str]) -> bool:
    """Tell whether a column may hold dates of eight figures: year, month, day; a few spoilt cells apart."""
    return _mostly(texts, lambda text: _DAY_RUN.fullmatch(text) is not None)


def is_year_day(texts: Sequence[str]) -> bool:
    """Tell whether a column may hold years with days of the year, or of weeks; a few spoilt cells apart."""
    return _mostly(texts, lambda text: _YEAR_DAY.fullmatch(text) is not None)


def is_clock_run(texts: Sequence[str]) -> bool:
    """Tell whether a column may hold times of day of six figures: hours, minutes, seconds; a few spoilt cells apart.

    Hyphens may stand between them.
    """
    return _mostly(texts, lambda text: _CLOCK_RUN.fullmatch(text) is not None)


def _mostly(texts: Sequence[str], fits: Callable[[str], bool]) -> bool:
    """Tell whether nearly all texts fit, the first one apart where it has no figure, as a row of units has none."""
    some = given(texts)
    if len(some) > 1 and not any(map(str.isdigit, some[0])):
        some = some[1:]
    return bool(some) and sum(map(fits, some)) >= MOSTLY * len(some)


def day_and_time(days: Sequence[str], clocks: Sequence[str]) -> list[str]:
    """Return dates and times of day of two columns as the reader puts them together: with a blank between."""
    return [f"{_MIDNIGHT.sub('', day)} {time}" if day and time else "" for day, time in zip(days, clocks, strict=True)]


def _array(texts: Sequence[str]) -> pa.Array:
    return pa.array(texts, pa.string())


def _share(pattern: Pattern, texts: Sequence[str]) -> float:
    return float(pattern.matched(_array(texts)).mean())


def _any_real(form: str, texts: Sequence[str]) -> bool:
    return bool(pattern_of(form).read(_array(texts)).real.any())


def _mostly_real(form: str, texts: Sequence[str]) -> bool:
    """Tell whether most texts are times that exist: of a time of day taken for a date few are."""
    return bool(pattern_of(form).read(_array(texts)).real.mean() > _HALF)


#: The share of texts that have to exist in one order of day and month at least.
_HALF = 0.5


def _unreal(form: str, texts: Sequence[str]) -> list[int]:
    """Return the rows that have the look of a time in a format, but are none that exists."""
    fields = pattern_of(form).read(_array(texts))
    return [int(row) for row in np.flatnonzero(fields.matched & ~fields.real)]
