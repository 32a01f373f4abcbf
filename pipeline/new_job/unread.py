"""Explains what in a file is not recognised (headings, values), and what to do."""

import re
from collections.abc import Sequence
from itertools import islice

import numpy as np

from pipeline.files.angle_notations import TO_DEGREES, unread_notation
from pipeline.files.heading_words import words_of
from pipeline.files.odd_text import looks_like_data, odd_time, why_no_degrees, why_no_number, why_no_time
from pipeline.job.toml_text import quoted
from pipeline.near import listed
from pipeline.new_job.angles_apart import angles_apart
from pipeline.new_job.column_times import holds_days, says_clock, says_times
from pipeline.new_job.gps_weeks import like_weeks
from pipeline.new_job.headings import bare, rank, says_height
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.numbers_together import numbers_together
from pipeline.new_job.questions import Question
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
from pipeline.new_job.values import MOSTLY, angles, decimal_places, given, numbers_of
from pipeline.new_job.written_times import forms_of
from pipeline.words import counted, plural

_QUOTE = '"'
#: Headings that are shown.
_SHOWN = 12
#: Rows from which on the values of a column tell what it is.
_LEAST_ROWS = 3
#: Files of which it is said why they cannot be read.
_REASONS = 3
#: Columns of numbers that an export is the poorer without.
_NUMBERS = ("sigma_east", "sigma_north", "sigma_up", "precision", "each", "radial", "pole")
#: A heading of degrees, minutes or seconds alone: "LatDeg", "Longitude (min)", "lat_s".
_PART_OF_ANGLE = re.compile(
    r"(?:lat|lon|long|lng|latitude?|longitude?|breite|lange|laenge)"
    r"(?:d|m|s|deg|min|sec|degrees?|minutes?|seconds?|grad|gr|minuten?|sekunden?|grados?|minutos?|segundos?)"
)
#: What is said of its columns.
_APART = (
    "hold degrees, minutes and seconds in columns of their own, which are not put together: export decimal degrees, or"
    " make a column of them in a spreadsheet: degrees + minutes / 60 + seconds / 3600, with 9 decimals and the sign of"
    " the whole; or each angle in one column, as 12 02 48.70355 with its sign or N, S, E, W"
)
#: Decimals of degrees that are rounded, metres in a degree of latitude, and the axes of a place.
_FEW_DECIMALS, _DEGREE, _AXES = (4, 5), 111_000.0, 2
_PLANE, _DEGREES = ("easting", "northing"), ("longitude", "latitude")
#: What to do where times are not recognised.
_AS_TIMES = 'export dates with times of day such as "2026-03-02 07:30:00"'
_OR_STATE = "state time_format"
#: What a time of any kind has in it.
_LIKE_TIME = re.compile(r"\d{1,2}:\d\d|\d{5,}|\d{1,4}([./-])\d{1,2}\1\d{2,4}")
#: A date, in figures or with a word for the month, with a time of day behind it: told whatever its heading is.
_DATED = re.compile(
    r"(?:\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[. ]+(?:de )?[^\W\d_]{3,12}[. ]+(?:de )?\d{2,4}|\d{8})"
    r"[T ,_-]+(?:[^\W\d_]{1,8}\.? ){0,2}\d{1,2} ?[:.h-] ?\d\d(?!\d).*"
)
#: A time of day alone, of any notation.
_OF_DAY = re.compile(r"(?:=\")?\d{1,2}(?: ?[:h] ?\d\d|\.\d\d\.\d\d)(?!\d).*")


def no_position(look: FileLook) -> str:
    """Return why no position is found in a file: values that cannot be read, or headings of which none is known."""
    if apart := _all_torn(look) or numbers_together(look):
        return f"no positions that can be read: {apart}"
    if parts := _parts_of_angles(look):
        return f"no positions that can be read: {parts} {_APART}"
    unreadable = []
    for words in (_PLANE, _DEGREES):
        for word in words:
            name = next((name for name in look.names if rank(word, name) is not None), None)
            if name is not None and (what := _unread(look, name, word)) is not None:
                unreadable.append(what)
    for name in look.names:
        of_angle = any(rank(word, said) is not None for word in _DEGREES for said in words_of(name)[:1])
        if of_angle and (said := unread_notation(name, dms=False)) is not None:
            unreadable.append(f'the heading "{name}" {said}: {TO_DEGREES}')
    if unreadable:
        return f"no positions that can be read: {'; '.join(unreadable)}"
    if look.no_place:
        return f"no positions that can be read: {look.no_place}"
    return _without_header(look) if look.keys.get("header") == 0 else _unknown(look)


def _parts_of_angles(look: FileLook) -> str:
    """Return the columns of degrees, minutes and seconds that stand apart, by their values or headings; "" for none."""
    if parts := angles_apart(look):
        return " and ".join(listed(each, _QUOTE) for each in parts)
    named = [name for name in look.names if _PART_OF_ANGLE.fullmatch("".join(words_of(name)))]
    return listed(named, _QUOTE) if len(named) > 2 else ""


def _unknown(look: FileLook) -> str:
    """Return that no heading of a file is known as that of a position."""
    if all(any(rank(word, name) is not None for name in look.names) for word in ("base", "pole")):
        return "no positions of points: it seems to be a list of base set-ups, from which nothing is read"
    headings = listed(look.names[:_SHOWN], _QUOTE) + (" ..." if len(look.names) > _SHOWN else "")
    sample = listed([next(iter(given(texts)), "") for texts in look.columns.values()][:_SHOWN], _QUOTE)
    if looks_like_data(re.split("[;,|\t ]+", ",".join(look.names))):
        return (
            f"its first line holds data, not column names: {headings}; add a line with names above it, such as"
            " mark;easting;northing;height for a register"
        )
    page = f" (read as {look.encoding}, as it is not UTF-8: else save it as UTF-8)" if look.pages is not None else ""
    return (
        f"no position columns that are recognised by their headings{page}: they are {headings}, the first row has"
        f" {sample}; rename them (easting, northing, height; longitude, latitude, ellipsoid_height), or state which is"
        f" which in [points.columns], of a register in [control.columns]{_coarse(look)}"
    )


def _coarse(look: FileLook) -> str:
    """Return which columns may be degrees with too few decimals to be taken for such, "" where not two may."""
    places = {name: round(decimal_places(texts)) for name, texts in look.columns.items() if _may_be_degrees(texts)}
    if len(places) < 2:
        return ""
    least = min(places.values())
    return (
        f"; {' and '.join(map(quoted, list(places)[:_AXES]))} may be degrees, but {least} decimals give places to"
        f" {_DEGREE * 10.0**-least:.0f} m: if they are, export them with 8 or more decimals"
    )


def _may_be_degrees(texts: Sequence[str]) -> bool:
    """Tell whether numbers have four or five decimals and differ within a degree, as degrees of a job may."""
    values = numbers_of(texts)
    if values is None or not _FEW_DECIMALS[0] <= decimal_places(texts) <= _FEW_DECIMALS[1]:
        return False
    size = np.abs(values[np.isfinite(values)])
    return bool((size <= 180.0).all() and np.median(size) >= 1.0 and 0.0 < np.ptp(size) < 1.0)


def _without_header(look: FileLook) -> str:
    """Return that a file has no headings, what its first row holds, and how to say which column is which."""
    cells = [next(iter(given(texts)), "") for texts in look.columns.values()]
    row = ", ".join(f'{at} "{cell}"' for at, cell in enumerate(cells, start=1))
    return (
        f"it has no row of headings, and which columns are the position is not certain; its first row is {row}: add a"
        " row of headings above it (name, latitude, longitude, ellipsoid_height, date, time), or state header = 0 and"
        " the numbers of the columns in [points.columns], such as latitude = 2"
    )


def no_height(look: FileLook, what: str, lacking: bool) -> str:
    """Return that a position lacks its height: a column of it that cannot be read, or the headings it may be among.

    ``what`` is wrong with the position, in words; ``lacking`` is whether it is that no column is mapped as its height.
    """
    if (apart := _all_torn(look)) is not None:
        return f"no readable rows: {apart}"
    if lacking and (unreadable := unread_heights(look)):
        return f"times and places, but no heights that can be read: {'; '.join(why for _, why in unreadable)}"
    return (
        f"times, but {what}: the headings are {listed(look.names[:_SHOWN], _QUOTE)}; rename the one of the heights, or"
        " state it as height in [points.columns]"
    )


def unread_heights(look: FileLook) -> list[tuple[str, str]]:
    """Return which columns are called as heights are and hold no numbers, each with why its first value is none."""
    return [
        (name, why) for name in filter(says_height, look.names) if (why := _unread(look, name, "height")) is not None
    ]


def unread_times(look: FileLook, found: Mapped) -> str | None:
    """Return which column is called like times of readings and cannot be read as such; None where there is none.

    Beside dates that can be read it is that of the times of day. A column that holds dates with times of day is told
    whatever it is called.
    """
    free = [name for name in look.names if name not in found.columns.values()]
    if (julian := _julian(look, free)) is not None:
        return julian
    beside = _beside_dates(look, free) or _in_parts(look)
    if beside is not None:
        return beside
    for name in free:
        if not _of_time(name):
            continue
        # dates alone are usual in a register, which has no solutions
        dates = "solution" in found.columns
        texts = given(look.columns[name])
        like = [text for text in texts if _LIKE_TIME.search(text) or (dates and is_day([text]))]
        if like:
            why, statable = _why(name, like)
            # a format can be stated only for what it can say: no months of other languages
            fix = f"{_AS_TIMES}, or {_OR_STATE}" if statable else _AS_TIMES
            return f"times are not recognised: {why}; {fix}"
    for name in free:
        if dated := [text for text in given(look.columns[name]) if _DATED.fullmatch(text)]:
            why, statable = _why(name, dated)
            fix = f"{_AS_TIMES}, or {_OR_STATE} in a job file" if statable else _AS_TIMES
            return f"times are not recognised: {why}; {fix}"
    # a register, which has no solutions, may have such numbers as well
    if "solution" in found.columns and (pair := like_weeks(look.columns, free)) is not None:
        week, seconds = pair
        return (
            f'times are not recognised: "{week}" and "{seconds}" look like GPS weeks and seconds of the week: if they'
            ' are, call them "GPS week" and "GPS seconds", or write [points.columns] with'
            f" gps_week = {quoted(week)} and gps_seconds = {quoted(seconds)} by hand"
        )
    return _by_values(look, free, "solution" in found.columns)


#: Words of headings of times that are counted in days since -4712, or since 1858, and what such numbers look like.
_JULIAN = frozenset(
    ["jd", "mjd", "julian", "juliandate", "julianday", "modifiedjuliandate", "modifiedjulianday", "julianisch",
     "juliansk", "julien", "julienne", "juliano", "juliana", "giuliano", "giuliana", "juliaans", "julianskie",
     "юлианская", "儒略日", "ユリウス日"]
)  # fmt: skip
_JULIAN_DAY, _MODIFIED_DAY = re.compile(r"2[45]\d{5}[.,]\d+"), re.compile(r"[4-8]\d{4}[.,]\d+")


def _julian(look: FileLook, free: Sequence[str]) -> str | None:
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
            return f"times are not recognised: {why}; {_AS_TIMES}"
    return None


def _by_values(look: FileLook, free: Sequence[str], dates: bool) -> str | None:
    """Return which column looks like times by its values, whatever it is called; None where none does.

    Dates alone are usual in a register: they are told only where ``dates``. Numbers that may be counts of seconds are
    told where they tell rows apart and go up.
    """
    for name in free:
        texts = given(look.columns[name])
        if len(texts) < _LEAST_ROWS:
            continue
        if all(map(_OF_DAY.fullmatch, texts)) and len(set(texts)) > 1:
            return f"times are not recognised: {_why(name, texts)[0]}; {_AS_TIMES}"
        if dates and is_day(texts):
            return f"times are not recognised: {_why(name, texts)[0]}; {_AS_TIMES}"
        how = counted_times(texts, name) if rank("name", name) is None else None
        # numbers of that size may be coordinates of a register too, which has no solutions
        told = how is not None and (dates or not how.formats[0].startswith("serial"))
        if told and _goes_up(texts):
            fix = f'if it is, call it "time" in the export and run `tiedown new` again, or {_OR_STATE} in a job file'
            return f'times are not recognised: "{name}" holds "{texts[0]}", which {why_no_time(texts[0])}; {fix}'
    return None


def _goes_up(texts: Sequence[str]) -> bool:
    values = numbers_of(texts)
    return (
        values is not None and len(np.unique(values)) > len(values) // 2 and bool((np.diff(values) >= 0).mean() > 0.9)
    )


def _of_time(heading: str) -> bool:
    """Tell whether a heading says times of readings or times of day, with or without the clock that they are of."""
    return says_times(heading) or says_clock(heading)


def _beside_dates(look: FileLook, free: Sequence[str]) -> str | None:
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
            return f"times are not recognised: {why}; {_AS_TIMES}, in one column or two"
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
_YEAR_AND_DAY = re.compile(r"(?:19|20)\d\d[-:/. ]?(?:[0-2]\d\d|3[0-6]\d)")
_SECONDS = frozenset(["seconds", "sec", "secs", "sod", "secondsofday", "sekunden", "secondes", "segundos", "secondi"])


def _in_parts(look: FileLook) -> str | None:
    """Return that dates stand in three columns, or are days of a year; None where they do not."""
    days = next((name for name in look.names if bare(name) in _DAY_OF_YEAR), None)
    if days is not None:
        year = next((name for name in look.names if bare(name) in _YEAR), None)
        beside = f', beside the year in "{year}"' if year is not None else ""
        why = f'"{days}" holds days of the year{beside}, which are not read: export the month and the day'
        return f"times are not recognised: {why}; {_AS_TIMES}, in one column or two"
    for name in look.names:
        texts = given(look.columns[name])
        if rank("date", name) is not None and texts and all(map(_YEAR_AND_DAY.fullmatch, texts)):
            why = f'"{name}" holds "{texts[0]}", a year and the day of the year, which is not read'
            return f"times are not recognised: {why}: export the month and the day; {_AS_TIMES}, in one column or two"
    found = [next((name for name in look.names if bare(name) in words), None) for words in (_YEAR, _MONTH, _DAY)]
    if all(name is not None for name in found):
        shown = listed([str(name) for name in found], _QUOTE)
        why = f"the date is in several columns, {shown}; {_AS_TIMES}, in one column or two"
        return f"times are not recognised: {why}{_as_one(look, [str(name) for name in found])}"
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


def _unread(look: FileLook, name: str, word: str) -> str | None:
    """Return the first value of a column that is no number, with what it is; None where there are numbers."""
    texts = look.columns[name]
    if word in _DEGREES and (beyond_minutes := _minutes_within(texts, 90 if word == "latitude" else 180)):
        return f'"{name}" {beyond_minutes}'
    if numbers_of(texts) is not None or (word in _DEGREES and angles(texts, "EWNS") is not None):
        return None
    for text in given(texts):
        if numbers_of([text]) is None:
            why = why_no_number(text)
            if word in _DEGREES:
                why = why_no_degrees(text, dms=angles([text], "EWNS") is not None)
            return f'"{name}" holds "{text}", which {why}'
    if given(texts):
        return None
    if look.form == "workbook":
        return f'"{name}" is empty, or its formulas have no stored values: open the file, save it, or export values'
    return f'"{name}" is empty: export it with values'


def _minutes_within(texts: Sequence[str], limit: int) -> str:
    """Return that numbers are degrees and minutes in one (5220.617 for 52 degrees 20.617 minutes); "" where not."""
    values = numbers_of(texts)
    if values is None or not float(np.nanmax(np.abs(values))) > limit:
        return ""
    degrees, minutes = np.divmod(np.abs(values[np.isfinite(values)]), 100.0)
    if not ((degrees <= limit) & (minutes < 60.0)).all():
        return ""
    seems = "seems to be degrees and minutes in one number, which are not read: export decimal degrees"
    return f'holds "{given(texts)[0]}", which {seems}'


def left_unread(look: FileLook, found: Mapped) -> list[tuple[str, str]]:
    """Return the columns that are called as numbers of use are and that hold none, each with why it is not mapped."""
    told = []
    for name in look.names:
        if name in found.columns.values() or name in dict(found.left) or name == found.poles:
            continue
        of_use = any(rank(word, name) is not None for word in _NUMBERS)
        if of_use and given(look.columns[name]) and (why := _unread(look, name, "")) is not None:
            told.append((name, why.removeprefix(f'"{name}" ')))
    return told


def no_session(exports: Sequence[str], readings: int, unread: Sequence[str]) -> Question:
    """Return the question after the sessions where none could be drafted from so many readings with times.

    ``unread`` says why exports cannot be read.
    """
    several = len(exports) > 1
    if readings:
        why = f"{'their readings' if several else 'its readings'} are far apart in time, or used different bases"
    else:
        why = f"no row of {'them' if several else 'it'} has a readable time and position"
    why += f" ({'; '.join(unread[:_REASONS])})" if unread else ""
    asks = f"when did which base run? no session could be made of {listed(exports)}: {why}. Correct that and run"
    asks += " `tiedown new` again, or write a [[session]] block per base session"
    return Question("sessions", asks)


#: A number with a decimal comma that stands between commas too.
_COMMAS = re.compile(r"(?:^|,)[+-]?\d+,\d+,[+-]?\d+,\d+(?:,|$)")


def _all_torn(look: FileLook) -> str | None:
    """Return why most of the first rows have not as many cells as the header, and what to do; None where few are so."""
    rows = len(next(iter(look.columns.values()), []))
    if 2 * len(look.torn) <= rows:
        return None
    torn = f"{len(look.torn)} of the first {counted(rows, 'row')} cannot be split like the header"
    shown = look.fault.replace("\t", " ")
    torn += f", the first is line {look.torn[0]}: {shown}; "
    if look.blanks and (cells := _cells_of_all(look)):
        return (
            f"{torn}as every row has {counted(cells, 'cell')}, blanks within headings split them, or a column is"
            ' empty: write each heading as one word, as in "Point_name", leave empty columns out, or export with'
            " another delimiter, such as ';' or a tab"
        )
    if look.blanks:
        return (
            f"{torn}where blanks separate the columns, a name or code with a blank is split and an empty cell is"
            " lost: export with another delimiter, such as ';' or a tab"
        )
    with look.path.open("rb") as file:
        line = next(islice(file, look.torn[0] - 1, None), b"").decode("utf-8", "replace").strip()
    if _COMMAS.search(line):
        return (
            f"{torn}its decimal commas seem to be mixed with comma delimiters: export with decimal points, or with"
            " another delimiter, such as ';' or a tab"
        )
    return f"{torn}check that the rows have the columns of the header, and export it again"


def _cells_of_all(look: FileLook) -> int:
    """Return how many cells all rows have that blanks separate, where that is fewer than the header; 0 elsewhere."""
    with look.path.open("rb") as file:
        lines = list(islice(file, look.torn[-1]))
    counts = {len(lines[number - 1].split()) for number in look.torn}
    rows = len(next(iter(look.columns.values()), []))
    alike = len(counts) == 1 and len(look.torn) == rows
    return min(counts) if alike and min(counts) < len(look.names) else 0


def nuls(look: FileLook) -> str | None:
    """Return what is to be told of lines with a NUL, each of which a run holds back; None of none."""
    if not look.nuls:
        return None
    lines = counted(len(look.nuls), "line holds", "lines hold")
    first = ", this one first," if len(look.nuls) > 1 else ""
    return (
        f"{look.shown}:{look.nuls[0]}: {lines} NUL bytes{first} and cannot be read: the file may be damaged or"
        " incomplete; export it again"
    )


def torn(look: FileLook) -> str | None:
    """Return what is to be told of rows that have not as many cells as the header, between blanks; None of none."""
    if not look.torn or not look.blanks:
        return None
    many = counted(len(look.torn), "row")
    return (
        f"{look.shown}:{look.torn[0]}: {many} of the first {len(next(iter(look.columns.values()), []))}"
        f" {plural(len(look.torn), 'has', 'have')} not as many cells as the header, this one first, and cannot be read:"
        " where blanks separate the columns an empty cell is lost; export with another delimiter, such as ';' or a"
        " tab"
    )
