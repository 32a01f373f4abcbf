"""Explains which times of a file are not recognised, and what to do."""

import re
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.files.heading_words import words_of
from pipeline.files.odd_text import odd_time, why_no_time
from pipeline.job.toml_text import quoted
from pipeline.near import listed
from pipeline.new_job.column_times import holds_days, says_clock, says_times
from pipeline.new_job.gps_weeks import like_weeks, week_alone
from pipeline.new_job.headings import bare, rank
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.time_notation import (
    are_yet_to_come,
    counted_times,
    day_and_time,
    is_clock_run,
    is_day,
    is_day_run,
    is_time_of_day,
    time_notation,
)
from pipeline.new_job.values import MOSTLY, given, numbers_of
from pipeline.new_job.written_times import forms_of

_QUOTE = '"'
#: Rows from which on the values of a column tell what it is.
_LEAST_ROWS = 3
#: What to do where times are not recognised.
_AS_TIMES = 'export dates with times of day such as "2026-03-02 07:30:00"'
_OR_STATE = "state time_format"
#: What a time of any kind has in it.
_LIKE_TIME = re.compile(r"\d{1,2}:\d\d|\d{5,}|\d{1,4}([./-])\d{1,2}\1\d{2,4}")
#: A date, in figures, with a word for the month or as a day of the year, with a time of day behind it: told whatever
#: its heading is.
_DATED = re.compile(
    r"(?:\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[. ]+(?:de )?[^\W\d_]{3,12}[. ]+(?:de )?\d{2,4}|\d{8}"
    r"|(?:19|20)\d\d[./:-]?[0-3]\d\d)"
    r"[T ,_-]+(?:[^\W\d_]{1,8}\.? ){0,2}\d{1,2} ?[:.h-] ?\d\d(?!\d).*"
)
#: A time of day alone, of any notation.
_OF_DAY = re.compile(r"(?:=\")?\d{1,2}(?: ?[:h] ?\d\d|\.\d\d\.\d\d)(?!\d).*")


class UnreadTimes(Struct, frozen=True):
    """Why times are not read and what to do, in words, and the columns, by our words, that hold them, if any do.

    ``statable`` tells that a key of the job file may let them be read as they are, ``guessed`` that only their values
    look like times.
    """

    why: str
    columns: dict[str, str]
    statable: bool = False
    guessed: bool = False


def unread_times(look: FileLook, found: Mapped) -> str | None:
    """Return which column is called like times of readings and cannot be read as such; None where there is none.

    Beside dates that can be read it is that of the times of day. A column that holds dates with times of day is told
    whatever it is called.
    """
    told = unread_time_columns(look, found)
    return f"times are not recognised: {told.why}" if told is not None else None


def unread_time_columns(look: FileLook, found: Mapped) -> UnreadTimes | None:
    """Return what `unread_times` tells, with the columns that it tells of."""
    free = [name for name in look.names if name not in found.columns.values()]
    return _which(look, free, rover="solution" in found.columns)


def _which(look: FileLook, free: Sequence[str], rover: bool) -> UnreadTimes | None:
    """Return which of the ``free`` columns it is, and what to do; ``rover`` that solutions show a rover's file."""
    if (julian := _julian(look, free)) is not None:
        return julian
    beside = _beside_dates(look, free) or _in_parts(look)
    if beside is not None:
        return beside
    for name in free:
        if not _of_time(name):
            continue
        texts = given(look.columns[name])
        # dates alone are usual in a register
        like = [text for text in texts if _LIKE_TIME.search(text) or (rover and is_day([text]))]
        if like:
            why, statable = _why(name, like)
            # a format can be stated only for what it can say: no months of other languages
            fix = f"{_AS_TIMES}, or {_OR_STATE}" if statable else _AS_TIMES
            alone = is_day(like) or is_day_run(like)
            return UnreadTimes(f"{why}; {fix}", {"date" if alone else "time": name}, statable and not alone)
    for name in free:
        if dated := [text for text in given(look.columns[name]) if _DATED.fullmatch(text)]:
            why, statable = _why(name, dated)
            fix = f"{_AS_TIMES}, or {_OR_STATE} in a job file" if statable else _AS_TIMES
            return UnreadTimes(f"{why}; {fix}", {"time": name}, statable)
    # a register may have such numbers as well
    if rover and (pair := like_weeks(look.columns, free)) is not None:
        week, seconds = pair
        why = (
            f'"{week}" and "{seconds}" look like GPS weeks and seconds of the week: if they'
            ' are, call them "GPS week" and "GPS seconds", or write [points.columns] with'
            f" gps_week = {quoted(week)} and gps_seconds = {quoted(seconds)} by hand"
        )
        return UnreadTimes(why, {"gps_week": week, "gps_seconds": seconds}, statable=True)
    if (week_only := week_alone(look.columns, free)) is not None:
        first = given(look.columns[week_only])[0]
        why = (
            f'"{week_only}" holds "{first}", GPS weeks, and no column the seconds of the week (0 to 604,800) that are'
            " read with them: export these"
        )
        return UnreadTimes(f"{why}, or {_AS_TIMES}", {})
    return _by_values(look, free, rover)


#: Words of headings of times that are counted in days since -4712, or since 1858, and what such numbers look like.
_JULIAN = frozenset(
    ["jd", "mjd", "julian", "juliandate", "julianday", "modifiedjuliandate", "modifiedjulianday", "julianisch",
     "juliansk", "julien", "julienne", "juliano", "juliana", "giuliano", "giuliana", "juliaans", "julianskie",
     "юлианская", "儒略日", "ユリウス日"]
)  # fmt: skip
_JULIAN_DAY, _MODIFIED_DAY = re.compile(r"2[45]\d{5}[.,]\d+"), re.compile(r"[4-8]\d{4}[.,]\d+")
#: Whole ones, which only a heading tells from other numbers.
_WHOLE_DAY = re.compile(r"2[45]\d{5}|[4-8]\d{4}")
#: Micro- and nanoseconds since 1970, of this century.
_FINE = re.compile(r"(?:9[5-9]\d|[1-3]\d{3})\d{12}(?:\d{3})?")


def _julian(look: FileLook, free: Sequence[str]) -> UnreadTimes | None:
    """Return which column holds Julian days or modified ones by its heading and values; None where none does.

    Those of a heading of times are told by their size: a Julian day is in the millions, and a modified one would be of
    the future if a spreadsheet had counted it.
    """
    for name in free:
        named_so = _JULIAN.intersection((bare(name), *words_of(name)))
        texts = given(look.columns[name])
        if not texts or not (named_so or _of_time(name)):
            continue
        modified = all(map(_MODIFIED_DAY.fullmatch, texts))
        if modified and not named_so:
            days = numbers_of(texts)
            modified = days is not None and are_yet_to_come(days)
        if modified or all(map(_JULIAN_DAY.fullmatch, texts)):
            what = "modified Julian days" if modified else "Julian days"
            why = f'"{name}" holds "{texts[0]}": {what}, which are not read'
            return UnreadTimes(f"{why}; {_AS_TIMES}", {"time": name})
        if named_so and all(map(_WHOLE_DAY.fullmatch, texts)):
            why = f'"{name}" holds "{texts[0]}": whole Julian days, or modified ones, which are not read'
            return UnreadTimes(f"{why}; {_AS_TIMES}", {})
    return None


def _by_values(look: FileLook, free: Sequence[str], rover: bool) -> UnreadTimes | None:
    """Return which column looks like times by its values, whatever it is called; None where none does.

    Dates alone are usual in a register: they are told only of a ``rover``'s file. Numbers that may be counts of seconds
    are told where they tell rows apart and go up.
    """
    for name in free:
        texts = given(look.columns[name])
        if len(texts) < _LEAST_ROWS:
            continue
        of_day = all(map(_OF_DAY.fullmatch, texts)) and len(set(texts)) > 1
        if of_day or (rover and is_day(texts)):
            return UnreadTimes(
                f"{_why(name, texts)[0]}; {_AS_TIMES}", {"time" if of_day else "date": name}, guessed=True
            )
        if all(map(_FINE.fullmatch, texts)) and _goes_up(texts):
            why = f'"{name}" holds "{texts[0]}", which {why_no_time(texts[0])}'
            return UnreadTimes(why, {"time": name}, guessed=True)
        how = counted_times(texts, name) if rank("name", name) is None else None
        # numbers of that size may be coordinates of a register too
        told = how is not None and (rover or not how.formats[0].startswith("serial"))
        if told and _goes_up(texts):
            fix = f'if it is, call it "time" in the export and run `tiedown new` again, or {_OR_STATE} in a job file'
            why = f'"{name}" holds "{texts[0]}", which {why_no_time(texts[0])}; {fix}'
            return UnreadTimes(why, {"time": name}, guessed=True)
    return None


def _goes_up(texts: Sequence[str]) -> bool:
    values = numbers_of(texts)
    return (
        values is not None and len(np.unique(values)) > len(values) // 2 and bool((np.diff(values) >= 0).mean() > 0.9)
    )


def _of_time(heading: str) -> bool:
    """Tell whether a heading says times of readings or times of day, with or without the clock that they are of."""
    return says_times(heading) or says_clock(heading)


def _beside_dates(look: FileLook, free: Sequence[str]) -> UnreadTimes | None:
    """Return why the times of day beside a column of dates cannot be read, None where none stand beside one."""
    day = next((name for name in free if holds_days(look, name)), None)
    if day is None:
        return None
    for name in free:
        texts = [text for text in given(look.columns[name]) if any(map(str.isdigit, text))]
        if not texts or holds_days(look, name) or _DATED.fullmatch(texts[0]) or rank("time_end", name) is not None:
            continue
        seconds = bare(name) in _SECONDS or any(part in _SECONDS for part in words_of(name))
        if _of_time(name) or _OF_DAY.fullmatch(texts[0]) or (seconds and numbers_of(texts) is not None):
            numbers = "numbers, as " if numbers_of(texts) is not None else ""
            why = f'"{day}" holds dates and "{name}" {numbers}"{texts[0]}", which '
            if is_time_of_day(texts):
                why += _why_not_together(look.columns[day], look.columns[name])
            else:
                why += _why_no_clock(texts, given(look.columns[day])[0])
            statable = _OR_STATE in why
            return UnreadTimes(f"{why}; {_AS_TIMES}, in one column or two", {"date": day, "time": name}, statable)
    return None


def _why_not_together(days: Sequence[str], clocks: Sequence[str]) -> str:
    """Return why dates (n,) and times of day (n,) that are each one are no times when put together."""
    both = day_and_time(days, clocks)
    sound = [text for text, day, time in zip(both, days, clocks, strict=True)
             if text and is_day([day]) | is_day_run([day]) and is_time_of_day([time])]  # fmt: skip
    if len(sound) < MOSTLY * len(both):
        return "is a time of day, but more than a few cells of the two columns are empty or not times: fill them in"
    if (odd := next((text for text in sound if time_notation([text]) is None), None)) is not None:
        return f'is a time of day; with its date it is "{odd}", which {odd_time(odd).why}'
    other = next((text for text in sound if time_notation([text]) != time_notation(sound[:1])), sound[-1])
    return f'is a time of day; with their dates they are written in several ways, as "{sound[0]}" and "{other}"'


def _why_no_clock(texts: Sequence[str], day: str) -> str:
    """Return what a time of day is that cannot be read beside its date, such as ``day``."""
    odd = next((text for text in texts if not _OF_DAY.fullmatch(text)), texts[0])
    if all(re.fullmatch(r"[0-2]?\d\.[0-5]\d", text) for text in texts):
        shown = next(iter(forms_of(f"{day} 08:00")), "%Y-%m-%d %H:%M").replace(":%M", ".%M")
        return (
            "may be hours and minutes, or hours with decimals, which is not guessed: if they are hours and minutes, map"
            f' date and time in [points.columns] and state time_format, such as "{shown}"'
        )
    if all(re.fullmatch(r"(?:0?[.,]\d{3,}|[01](?:[.,]0*)?|\d(?:[.,]\d+)?[eE]-\d+)", text) for text in texts):
        return (
            "may be a part of a day, as spreadsheets keep times of day, which is not read beside a date: give the"
            " column a format of times (hh:mm:ss) in the spreadsheet, and save it or export it again"
        )
    if is_clock_run(texts):
        return (
            "looks like hours, minutes and seconds in one number, which its heading does not say: call the column"
            ' "Time", with the clock if it is known, as in "Time UTC"'
        )
    if re.fullmatch(r"\d{5,6}(?:[.,]\d+)?", odd):
        return "may be hours, minutes and seconds without their leading zeros, or seconds of the day: neither is read"
    if re.fullmatch(r"\d{1,6}(?:[.,]\d+)?", odd):
        return "is a number, which is not read as a time of day"
    told = odd_time(odd)
    return "is written in several ways, or in one that is not read" if told.dateless else told.why


#: Headings of the parts of a date and of a time of day, each in a column of its own.
_YEAR = frozenset(["year", "yr", "yyyy", "jahr", "annee", "ano", "anno", "jaar", "ar", "rok", "godina"])
_MONTH = frozenset(["month", "mon", "mm", "monat", "mois", "mes", "mese", "maand", "miesiac", "mesic", "manad"])
_DAY = frozenset(["day", "dd", "tag", "jour", "dia", "giorno", "dag", "dzien", "den"])
_HOUR = frozenset(["hour", "hours", "hr", "hh", "h", "stunde", "heure", "hora", "ora", "uur", "godzina", "hodina"])
_MINUTE = frozenset(["minute", "minutes", "min", "mi", "minuto", "minuut", "minuta"])
_SECOND = frozenset(["second", "seconds", "sec", "ss", "s", "sekunde", "seconde", "segundo", "secondo", "sekunda"])
_DAY_OF_YEAR = frozenset(
    ["doy", "dayofyear", "dayofyr", "yday", "yearday", "ordinalday", "tagdesjahres", "jahrestag", "jourdelannee",
     "quantieme", "diadelano", "diadoano", "giornodellanno", "dagvanhetjaar"]
)  # fmt: skip
#: Headings of a year and the day of the year in one number, and what such numbers look like.
_YEAR_DAY = frozenset(["yydoy", "yyyydoy", "yyddd", "yyyyddd", "yeardoy", "yrdoy", "yearday", "yrday"])
_YEAR_DAY_RUN = re.compile(r"(?:\d\d)?\d\d(?:[0-2]\d\d|3[0-6]\d)")
_YEAR_AND_DAY = re.compile(r"(?:19|20)\d\d[-:/. ]?(?:[0-2]\d\d|3[0-6]\d)")
_SECONDS = frozenset(["seconds", "sec", "secs", "sod", "secondsofday", "sekunden", "secondes", "segundos", "secondi"])


def _in_parts(look: FileLook) -> UnreadTimes | None:
    """Return that dates stand in three columns, or are days of a year; None where they do not."""
    for name in look.names:
        texts = given(look.columns[name])
        if bare(name) in _YEAR_DAY and texts and all(map(_YEAR_DAY_RUN.fullmatch, texts)):
            seconds = next((other for other in look.names if other != name and bare(other) in _SECONDS), None)
            beside = f', beside the seconds of the day in "{seconds}"' if seconds is not None else ""
            why = f'"{name}" holds "{texts[0]}", a year and the day of the year{beside}, which is not read so'
            together = f': call the column "Date", with times of day such as 07:30:00 in another, or {_AS_TIMES}'
            return UnreadTimes(f"{why}{together}", {})
    days = next((name for name in look.names if bare(name) in _DAY_OF_YEAR), None)
    if days is not None:
        year = next((name for name in look.names if bare(name) in _YEAR), None)
        beside = f', beside the year in "{year}"' if year is not None else ""
        why = f'"{days}" holds days of the year{beside}, which are not read apart'
        together = f'put year and day together in one column called "Date", as 2026-070, or {_AS_TIMES}'
        return UnreadTimes(f"{why}: {together}", {})
    for name in look.names:
        texts = given(look.columns[name])
        if rank("date", name) is not None and texts and all(map(_YEAR_AND_DAY.fullmatch, texts)):
            why = f'"{name}" holds "{texts[0]}", a year and the day of the year, which is no time by itself'
            return UnreadTimes(f"{why}: put times of day such as 07:30:00 in another column, or {_AS_TIMES}", {})
    found = [next((name for name in look.names if bare(name) in words), None) for words in (_YEAR, _MONTH, _DAY)]
    if all(name is not None for name in found):
        shown = listed([str(name) for name in found], _QUOTE)
        why = f"the date is in several columns, {shown}; {_AS_TIMES}, in one column or two"
        return UnreadTimes(f"{why}{_as_one(look, [str(name) for name in found])}", {})
    return None


def _as_one(look: FileLook, date: Sequence[str]) -> str:
    """Return that the columns of a date's parts may be put together in one, as one row would look then; "" if not."""
    clock = [next((name for name in look.names if bare(name) in words), None) for words in (_HOUR, _MINUTE, _SECOND)]
    row = next((at for at, text in enumerate(look.columns[date[0]]) if any(map(str.isdigit, text))), None)
    if row is None or clock[0] is None or clock[1] is None:
        return ""
    day = "-".join(look.columns[name][row] for name in date)
    time = ":".join(look.columns[name][row] for name in clock if name is not None)
    if time_notation([f"{day} {time}"]) is None:
        return ""
    return f', or put the columns together in one called "Time", whose first cell is then "{day} {time}"'


def _why(name: str, texts: list[str]) -> tuple[str, bool]:
    """Return the first text of a column that is no time, or two that are written in two ways.

    Also returns whether a time format could read them, as far as that can be told.
    """
    text = next((text for text in texts if time_notation([text]) is None), None)
    if text is not None and rank("date", name) is not None and re.fullmatch(r"\d{6}|\d{8}", text):
        form, digits = ("%d%m%y", "a six") if len(text) == 6 else ("%d%m%Y", "an eight")
        order = f'map it as date beside the time of day and state time_format, such as "{form} %H:%M:%S"'
        order += f', or "{form} %H%M%S" where the time of day has no colons'
        return f'"{name}" holds "{text}", {digits}-digit date, whose order is not guessed: {order}', True
    if text is not None:
        odd = odd_time(text)
        return f'"{name}" holds "{text}", which {odd.why}', odd.statable
    first = time_notation(texts[:1])
    other = next((text for text in texts if time_notation([text]) != first), texts[-1])
    return f'"{name}" holds times written in several ways, as "{texts[0]}" and "{other}"', True
