"""The days that a register's column of dates may mean: which of a mark's rows is the newest?

A date is written as the register's makers do: a day, a month or a year. Where day and month may stand in either order
both are taken for possible, and of two rows the newer is only said where it is newer in any case.
"""

import re
from calendar import monthrange
from collections.abc import Callable
from contextlib import suppress
from datetime import date

from pipeline.clock import MONTHS

#: The first and the last day that a date may mean.
Days = tuple[date, date]

# compiled when a register has dates, which few have: together as dear as ten modules
_TIME = r"(?:[T ]\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)?(?: ?(?:Z|[+-]\d\d:?\d\d))?)?"
_YEAR_FIRST = rf"(\d{{4}})([-/.])(\d{{1,2}})\2(\d{{1,2}}){_TIME}"
_PLAIN = r"(\d{4})(\d\d)(\d\d)"
_YEAR_LAST = rf"(\d{{1,2}})([-/.]) ?(\d{{1,2}})\2 ?(\d{{4}}){_TIME}"
_NAMED = r"(?:(\d{1,2})(?:st|nd|rd|th|\.)?[ -])?([a-z]{3,9})\.?(?:[ -](\d{1,2})(?:st|nd|rd|th)?)?,?[ -](\d{4})"
_MONTH = r"(\d{4})[-/.](\d{1,2})|(\d{1,2})[-/.](\d{4})"
_YEAR = r"(\d{4})"
_YEAR_AND_PART = r"((?:18|19|20)\d\d)([.,]\d{3,})"


def possible_days(text: str) -> Days | None:
    """Return the first and the last day that a date may mean; None where it is no date."""
    found = [days for days in _readings(text.strip()) if days is not None]
    return (min(first for first, _ in found), max(last for _, last in found)) if found else None


def _readings(text: str) -> list[Days | None]:
    """Return what a date may mean by the form that it has."""
    for form, read in _FORMS.items():
        if match := re.fullmatch(form, text.casefold() if form is _NAMED else text):
            return read(match)
    return []


def _year_last(found: re.Match[str]) -> list[Days | None]:
    days = [_day(found[4], found[3], found[1])]
    if found[2] != ".":  # with points between, the day stands first everywhere
        days.append(_day(found[4], found[1], found[3]))
    return days


#: What a date of each form may mean.
_FORMS: dict[str, Callable[[re.Match[str]], list[Days | None]]] = {
    _YEAR_FIRST: lambda found: [_day(found[1], found[3], found[4])],
    _PLAIN: lambda found: [_day(found[1], found[2], found[3])],
    _YEAR_LAST: _year_last,
    _NAMED: lambda found: [_named(found[4], found[2], found[1] or found[3])],
    _MONTH: lambda found: [_month(found[1] or found[4], found[2] or found[3])],
    _YEAR: lambda found: [_month(found[1])],
    _YEAR_AND_PART: lambda found: [_part(int(found[1]), float(f"0.{found[2][1:]}"))],
}


def _day(year: str, month: str, day: str) -> Days | None:
    with suppress(ValueError):
        return (date(int(year), int(month), int(day)),) * 2
    return None


def _named(year: str, name: str, day: str | None) -> Days | None:
    month = next((number for number, word in enumerate(MONTHS, start=1) if name.startswith(word)), None)
    if month is None:
        return None
    return _month(year, str(month)) if day is None else _day(year, str(month), day)


def _month(year: str, month: str | None = None) -> Days | None:
    with suppress(ValueError):
        first, last = (1, 12) if month is None else (int(month), int(month))
        return date(int(year), first, 1), date(int(year), last, monthrange(int(year), last)[1])
    return None


def _part(year: int, part: float) -> Days:
    """Return the days around a decimal year, which nobody writes to the day."""
    begin = date(year, 1, 1).toordinal()
    day = begin + int(part * (date(year + 1, 1, 1).toordinal() - begin))
    return date.fromordinal(day - 1), date.fromordinal(day + 1)
