"""Finds the columns of times: one column or two, as text, GPS week and seconds, or counts."""

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np

from pipeline.files.heading_words import words_of
from pipeline.new_job.dates_in_figures import day_beside_clock, figure_notation, is_figure_day
from pipeline.new_job.gps_weeks import named_weeks
from pipeline.new_job.headings import bare, rank
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped, plainest
from pipeline.new_job.time_notation import (
    TimeNotation,
    counted_times,
    day_and_time,
    is_clock_run,
    is_day,
    is_day_run,
    is_time_of_day,
    is_year_day,
    time_notation,
)
from pipeline.new_job.values import numbers_of, words
from pipeline.read.clock_headings import zone_in_heading

#: Words of a heading that name a clock, or stand between such a name and what is of it.
_CLOCKS = frozenset(["utc", "gps", "gmt", "local", "lokal", "locale", "of", "day", "du", "del", "de"])
#: Rows from which on one and the same time in all of them is odd.
_STILL = 3
#: The longest time that one export is of [s], and the share of rows that are not before the one above them.
A_YEAR, _IN_ORDER = 366 * 86_400.0, 0.9
#: Times of day that there are at least for each date.
_TELL_APART = 3
#: Seconds since 1970 at the beginning of 2000, and by how many the clock of this machine may be behind.
_FROM, _AHEAD = 946_684_800.0, 2 * 86_400.0
#: Words of headings that are times if the numbers are: "t_obs", "utc_ms", "obs_ts".
_HINTS = frozenset(
    ["t", "ts", "utc", "gmt", "obs", "ms", "sec", "secs", "time", "times", "millis", "unix", "epoch", "moment"]
)


def find_time(look: FileLook, found: Mapped, free: list[str]) -> None:
    """Find the times: a column by its heading among those that hold dates with times, or the only one that does.

    Else dates and times of day in two columns, GPS weeks and seconds, times that are counted.
    """
    holding = {name: how for name in free if (how := _as_times(look, name)) is not None}
    telling = _telling(look, list(holding))
    others = [one for one in telling if rank("time_end", one) is None and rank("dated", one) is None]
    name = plainest("time", telling, lambda _: True) or next(iter(others), None)
    if name is None or _is_still(look, name):
        found_so = next((columns for read in _OTHERS if (columns := read(look, free)) is not None), None)
        if found_so is not None:
            _take_time(found, free, *found_so)
    if found.times is None and name is not None:
        _take_time(found, free, {"time": name}, holding[name])
        ends = plainest("time_end", [one for one in free if one in holding], lambda _: True)
        if ends is not None:
            found.columns["time_end"] = ends
            free.remove(ends)
    taken = found.columns.get("time")
    if taken is not None:
        found.still = taken if _is_still(look, taken) else None
        found.left += [(one, f'it also holds times; those of "{taken}" are used') for one in others if one in free]


def _is_still(look: FileLook, name: str) -> bool:
    """Tell whether a column has one text in all rows, as the moment of an export has."""
    some = words(look.columns[name])
    return len(some) == 1 and sum(some.values()) >= _STILL


def _telling(look: FileLook, names: list[str]) -> list[str]:
    """Return the columns of times that tell rows apart at least half as well as the best of them does."""
    count = {name: len(words(look.columns[name])) for name in names}
    most = max(count.values(), default=0)
    return [name for name in names if 2 * count[name] >= most]


#: The columns of times, by our words, and how they are written.
_Taken = tuple[dict[str, str], TimeNotation]


def _day_and_clock(look: FileLook, free: list[str]) -> _Taken | None:
    """Return dates in one column with times of day in another: those at which readings begin."""
    days = [name for name in free if holds_days(look, name) and not is_day_run(look.columns[name])]
    clocks = [name for name in free if is_time_of_day(look.columns[name]) and name not in days]
    # figures alone are dates and times only where their headings say so
    days += [name for name in free if holds_days(look, name) and name not in days]
    days += [name for name in free if name not in days and _says(("date",), name) and is_figure_day(look.columns[name])]
    figures = [name for name in free if says_clock(name) and is_clock_run(look.columns[name])]
    clocks += [name for name in figures if name not in days and name not in clocks]
    if not clocks and (dotted := next((name for name in days if _goes_on(look, name, days)), None)) is not None:
        days, clocks = [name for name in days if name != dotted], [dotted]
    if look.keys.get("header") == 0 and not (days and clocks):  # or what stands beside one another
        pair = day_beside_clock(look.columns, free, days)
        days, clocks = pair[:1], pair[1:]
    telling = _telling(look, clocks)
    if not days or not telling:
        return None
    begins = plainest("clock", telling, lambda _: True) or telling[0]
    said = zone_in_heading(begins)  # of several dates those of the same clock
    day = next((name for name in days if zone_in_heading(name) == said), days[0])
    both = day_and_time(look.columns[day], look.columns[begins])
    how = time_notation(both) or (figure_notation(both) if is_figure_day(look.columns[day]) else None)
    if how is None:
        return None
    ends = [name for name in clocks if name != begins and rank("time_end", name) is not None]
    return {"date": day, "time": begins, **({"time_end": ends[0]} if ends else {})}, how


def _goes_on(look: FileLook, name: str, days: Sequence[str]) -> bool:
    """Tell whether what may be dates is times of day, as "08.30.02" is both, beside dates that are no times.

    Whatever its heading is: they go on from row to row, and tell many more rows apart than the dates.
    """
    texts = [text for text in look.columns[name] if text]
    others = [one for one in days if not is_time_of_day(look.columns[one])]
    if not others or _says(("date",), name) or not is_time_of_day(texts) or _is_numbering(texts):
        return False
    order = [before <= after for before, after in pairwise(texts)]
    each_day = max(len(words(look.columns[one])) for one in others)
    return len(set(texts)) >= _TELL_APART * each_day and sum(order) >= _IN_ORDER * (len(order) - each_day)


def _is_numbering(texts: Sequence[str]) -> bool:
    """Tell whether "01.02.03" numbers parts of parts: the last figures count one by one and none of them is zero."""
    last = [int(text.rsplit(".", 1)[-1]) if text.rsplit(".", 1)[-1].isdecimal() else 0 for text in texts]
    counted = sum(after - before == 1 or after == 1 for before, after in pairwise(last))
    return min(last, default=0) > 0 and counted >= _IN_ORDER * (len(last) - 1)


#: GPS weeks and seconds are on a scale of their own.
_ON_GPS = TimeNotation(("",), zoned=True)


def _gps_weeks(look: FileLook, free: list[str]) -> _Taken | None:
    """Return GPS weeks in one column with the seconds of the week in another."""
    week, seconds = (
        plainest(word, free, lambda name: numbers_of(look.columns[name]) is not None) for word in ("week", "seconds")
    )
    pair = named_weeks(look.columns, free) if week is None or seconds is None else (week, seconds)
    return None if pair is None else (dict(zip(("gps_week", "gps_seconds"), pair, strict=True)), _ON_GPS)


def _counted(look: FileLook, free: list[str]) -> _Taken | None:
    """Return times that are counted from some day on, such as seconds since 1970."""
    counted = {name: how for name in free if (how := counted_times(look.columns[name], name)) is not None}
    telling = _telling(look, [name for name in counted if _is_time(name) or look.numbered])
    telling = telling or _by_range(look, counted)
    return ({"time": telling[0]}, counted[telling[0]]) if telling else None


def _by_range(look: FileLook, counted: dict[str, TimeNotation]) -> list[str]:
    """Return the only column that hints at time and whose numbers are of one stretch of time since 1970, in order."""
    found = []
    for name, how in counted.items():
        values = numbers_of(look.columns[name])
        if values is None or not how.formats[0].startswith("unix") or not _hints_at_time(name):
            continue
        seconds = values[np.isfinite(values)] / (1000.0 if how.formats[0] == "unix-milliseconds" else 1.0)
        in_order = (np.diff(seconds) >= 0.0).mean() if len(seconds) >= _STILL else 0.0
        now = datetime.now(UTC).timestamp() + _AHEAD
        within = bool((seconds >= _FROM).all() and (seconds <= now).all() and np.ptp(seconds) <= A_YEAR)
        if within and in_order >= _IN_ORDER and not (np.diff(seconds) == 1.0).all():
            found.append(name)
    return found if len(found) == 1 else []


def _hints_at_time(heading: str) -> bool:
    return not _HINTS.isdisjoint(words_of(heading))


#: Where no column holds dates with times, these are tried in turn.
_OTHERS = (_day_and_clock, _gps_weeks, _counted)


def holds_days(look: FileLook, name: str) -> bool:
    """Tell whether a column holds dates alone: of eight figures, or days of the year, where its heading says so."""
    texts = look.columns[name]
    if is_day(texts):
        clock = is_time_of_day(texts) or is_clock_run(texts)
        return not (clock and not _says(("date",), name) and says_clock(name))
    return _says(("date",), name) and (is_day_run(texts) or is_year_day(texts))


def says_clock(heading: str) -> bool:
    """Tell whether a heading says times or times of day, with or without the clock that they are of."""
    return _says(("clock", "time"), heading)


def _says(words: Sequence[str], heading: str) -> bool:
    """Tell whether a heading says one of our words, alone or beside the name of a clock, as "Hora UTC" does."""
    plain = "".join(part for part in words_of(heading) if part not in _CLOCKS)
    return any(rank(word, said) is not None for word in words for said in (heading, plain))


def says_times(heading: str) -> bool:
    """Tell whether a heading says times of readings, or a date and a time of day: "Date et heure", "Datum och tid"."""
    parts = words_of(heading)
    both = len(parts) > 1 and all(any(rank(word, part) is not None for part in parts) for word in ("date", "clock"))
    return rank("time", heading) is not None or both


def _is_time(heading: str) -> bool:
    heading = heading.rsplit(".", 1)[-1]  # "gnss.utc", as nested properties are called
    said = ("unix", "epoch", "gps", "tow", "msec", "timestamp", "serial")
    return says_times(heading) or bare(heading) in ("ms", "s") or any(one in bare(heading) for one in said)


def _take_time(found: Mapped, free: list[str], columns: dict[str, str], how: TimeNotation) -> None:
    found.columns.update(columns)
    found.times = how
    for name in columns.values():
        free.remove(name)


def _as_times(look: FileLook, name: str) -> TimeNotation | None:
    if name in look.dated:
        return TimeNotation(("",), zoned=True)
    texts = look.columns[name]
    if is_day(texts):
        return None
    # other figures with a sign between look like these: only a heading tells
    return time_notation(texts) or (figure_notation(texts) if says_times(name) or says_clock(name) else None)
