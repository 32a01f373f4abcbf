"""Recognises dates in figures alone whose order is open: 11032026 or 260311, with a time of day beside or behind."""

import re
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags
from pipeline.job.key_values import YEARS
from pipeline.new_job.time_notation import TimeNotation, decided, is_clock_run, is_time_of_day
from pipeline.new_job.values import MOSTLY, given
from pipeline.read.clock_fields import pattern_of

#: A date of eight or six figures, and with what stands behind it, up to its time of day.
_DAY = re.compile(r"\d{8}|\d{6}")
_DATED = re.compile(r"(?P<day>\d{8}|\d{6})(?P<between>[ T_,-]+)(?P<clock>\d.*)")
#: The orders of day, month and year by the figures of a date.
_ORDERS = {8: ("%Y%m%d", "%d%m%Y", "%m%d%Y"), 6: ("%d%m%y", "%y%m%d", "%m%d%y")}
#: Times of day behind such a date, and as what each is read.
_CLOCKS = (
    (re.compile(r"\d{6}"), "%H%M%S"), (re.compile(r"\d{6}\.\d+"), "%H%M%S.%f"), (re.compile(r"\d{6},\d+"), "%H%M%S,%f"),
    (re.compile(r"\d{4}"), "%H%M"), (re.compile(r"\d\d?:\d\d"), "%H:%M"), (re.compile(r"\d\d?:\d\d:\d\d"), "%H:%M:%S"),
    (re.compile(r"\d\d?:\d\d:\d\d\.\d+"), "%H:%M:%S.%f"), (re.compile(r"\d\d?:\d\d:\d\d,\d+"), "%H:%M:%S,%f"),
    (re.compile(r"\d\d?:\d\d:\d\d ?[AaPp][Mm]"), "%I:%M:%S %p"), (re.compile(r"\d\d?\.\d\d\.\d\d"), "%H.%M.%S"),
    (re.compile(r"\d\d-\d\d-\d\d"), "%H-%M-%S"), (re.compile(r"\d\d_\d\d_\d\d"), "%H_%M_%S"),
)  # fmt: skip
#: Rows for each date, at least, and the share of rows that are not before the one above them, where no heading says
#: that figures are dates and times of day.
_EACH_DAY, _IN_ORDER = 3, 0.9
#: A time of day at which no date stands.
_MIDDAY = "120000"


def figure_notation(texts: Sequence[str]) -> TimeNotation | None:
    """Return how dates in figures with times of day behind them are written, in each order that they may have.

    None where they are no such times in any. The caller sees to it that a heading, or what stands beside them, says
    that they are times.
    """
    some = [text for text in given(texts) if any(map(str.isdigit, text))]
    found = [match for text in some if (match := _DATED.fullmatch(text)) is not None]
    if not found or len(found) < MOSTLY * len(some):
        return None
    first = found[0]
    clock = next((form for look, form in _CLOCKS if look.fullmatch(first["clock"])), None)
    if clock is None:
        return None
    if clock.endswith("%p") and " " not in first["clock"]:
        clock = clock.replace(" %p", "%p")
    forms = tuple(
        form
        for order in _ORDERS[len(first["day"])]
        if _reads(form := f"{order}{first['between']}{clock}", some).mean() >= MOSTLY
    )
    if not forms:
        return None
    return decided(forms, texts, False) if len(forms) > 1 else TimeNotation(forms)


def is_figure_day(texts: Sequence[str]) -> bool:
    """Tell whether a column may hold dates of eight or six figures, in whichever order, a few spoilt cells apart."""
    some = [text for text in given(texts) if any(map(str.isdigit, text))]
    fitting = [text for text in some if _DAY.fullmatch(text)]
    if not fitting or len(fitting) < MOSTLY * len(some) or len(set(map(len, fitting))) > 1:
        return False
    return figure_notation([f"{text} {_MIDDAY}" for text in fitting]) is not None


def day_beside_clock(columns: dict[str, list[str]], names: Sequence[str], is_date: Sequence[str]) -> list[str]:
    """Return the date and the time of day, in figures, of a file without headings; [] where no two columns are such.

    They stand beside one another; the times go on from row to row, and there are few dates for many of them.
    ``names`` are the columns that may be so, in the file's order, ``is_date`` those that hold dates with signs between.
    """
    every = list(columns)
    for one, other in pairwise(every):
        for day, clock in ((one, other), (other, one)):
            if day not in names or clock not in names:
                continue
            figures = is_clock_run(columns[clock])
            if day in is_date and not figures:
                continue  # told by their signs
            if day not in is_date and not is_figure_day(columns[day]):
                continue
            if (figures or is_time_of_day(columns[clock])) and _go_on(columns[day], columns[clock]):
                return [day, clock]
    return []


def _go_on(days: Sequence[str], clocks: Sequence[str]) -> bool:
    """Tell whether times of day (n,) go on from row to row but where their dates (n,) change, with few dates."""
    both = [(day, clock) for day, clock in zip(days, clocks, strict=True) if day and clock]
    steps = [before[1] <= after[1] for before, after in pairwise(both) if before[0] == after[0]]
    dates = len({day for day, _ in both})
    return bool(steps) and sum(steps) >= _IN_ORDER * len(steps) and len({each for _, each in both}) >= _EACH_DAY * dates


def _reads(form: str, texts: Sequence[str]) -> Flags:
    """Return (n,) which texts are times that exist in a format, of years in which GNSS points were measured."""
    fields = pattern_of(form).read(pa.array(texts, pa.string()))
    years = 1970 + fields.milliseconds.astype("datetime64[ms]").astype("datetime64[Y]").astype(np.int64)
    return fields.real & (years >= YEARS[0]) & (years <= YEARS[1])
