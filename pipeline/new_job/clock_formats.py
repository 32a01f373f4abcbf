"""Decides how the times of an export are written, and which of day and month is first, or asks."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.clock import DAY, moment
from pipeline.new_job.order_in_heading import order_in_heading
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.session_spans import INSIDE, Spans
from pipeline.new_job.time_notation import TimeNotation
from pipeline.read.times import clock
from pipeline.words import counted

#: Readings that are counted from a beginning are of this year or later, rather than before.
_RECENT = 2020

#: By how much the clock of this machine may be behind.
_AHEAD = timedelta(days=2)


class Order(Struct, frozen=True):
    """What the order of day and month is judged by: the ``header``'s line, and whether the month is likelier first."""

    header: int
    month_first: bool | None


def format_of(times: TimeNotation, column: str, texts: Sequence[str], spans: Spans | None, order: Order) -> State:
    """Return the state of ``time_format``."""
    if times.formats == ("",):
        return None
    if len(times.formats) == 1 and "%" not in times.formats[0]:
        return Known(f'"{times.formats[0]}"', f'"{column}" counts: "{texts[0]}"')
    if "%" not in times.formats[0]:
        return _asks_count(times, column, texts[0])
    if len(times.formats) == 1:
        why = f'as "{texts[0]}" is written'
        if times.decides is not None:
            row, text = times.decides
            why = f'"{text}" (line {order.header + 1 + row} or near it) can only be read this way'
            why += ", the only row that tells" if times.alone else ""
        why += _others(texts, times.formats[0])
        return Known(f'"{times.formats[0]}"', why)
    if spans is not None:
        offsets = ("UTC", *spans.offsets)
        worth = {form: max(spans.share(texts, form, zone) for zone in offsets) for form in times.formats}
        fitting = [form for form in times.formats if worth[form] >= INSIDE]
        if len(fitting) == 1:
            return Known(f'"{fitting[0]}"', f"read this way, the times are in the sessions of {spans.file}")
    forms = sorted(
        times.formats, key=lambda form: (_days(form, texts), _is_old(form, texts), *_likeliest(form, order.month_first))
    )
    candidates = tuple(Candidate(f'"{form}"', order_of(form)) for form in forms)
    return Question("time_format", _asks_order(times, column, texts, order.header), candidates)


def as_headed(form: State, times: TimeNotation, columns: dict[str, str]) -> State:
    """Answer the question after the order of day, month and year where the heading of the dates states it."""
    heading = columns.get("date", columns["time"])
    said = order_in_heading(heading)
    if not isinstance(form, Question) or said is None or times.odd:
        return form
    fitting = [one for one in times.formats if "%" in one and order_of(one) == said]
    return Known(f'"{fitting[0]}"', f'the heading "{heading}" says so: {said}') if len(fitting) == 1 else form


def _others(texts: Sequence[str], form: str) -> str:
    """Return what is to be said of times that a format does not read; "" where it reads all, rows of words apart."""
    matched = clock(None, form).pattern.read(pa.array(texts, pa.string())).matched
    odd = [text for text, sound in zip(texts, matched, strict=True) if not sound and any(map(str.isdecimal, text))]
    if not odd:
        return ""
    are = "is not, and is" if len(odd) == 1 else "are not, and are"
    return f'; {len(odd)} of the first {counted(len(texts), "time")} {are} not read so, as "{odd[0]}"'


def _days(form: str, texts: Sequence[str]) -> int:
    """Return over how many days times are spread when read so: of two orders the right one has them closer."""
    fields = clock(None, form).pattern.read(pa.array(texts, pa.string()))
    return int(np.ptp(fields.milliseconds[fields.real]) // DAY) if fields.real.any() else 0


def _is_old(form: str, texts: Sequence[str]) -> bool:
    """Tell whether times are of years ago when read so: of two orders of 260311 that of 2026 is the likelier."""
    if "%y" not in form:
        return False
    fields = clock(None, form).pattern.read(pa.array(texts, pa.string()))
    return bool(fields.real.any()) and moment(int(fields.milliseconds[fields.real].max())).year < _RECENT


def _likeliest(form: str, month: bool | None) -> tuple[bool, bool]:
    """Sort orders: hyphens go with the year first; the month is first or not as the place says.

    Where nothing says it (``month`` is None) it is so with a clock of twelve hours more often than not.
    """
    expected = "%p" in form if month is None else month
    return _year_first(form) != ("-" in form), expected == (form.index("%d") < form.index("%m"))


def _asks_count(times: TimeNotation, column: str, text: str) -> State:
    """Return the question from which beginning times are counted, each with the date that comes of it.

    Known where all but one of these dates are yet to come.
    """
    asks = f'which date does "{column}" count from, as in "{text}"? nothing in the file states it'
    told = [(form, clock(None, form).pattern.read(pa.array([text], pa.string()))) for form in times.formats]
    years = [(form, moment(int(fields.milliseconds[0]))) for form, fields in told]
    past = [(form, at) for form, at in years if at <= datetime.now(UTC) + _AHEAD]
    if len(past) == 1:
        (form, at), later = past[0], next(at for form, at in years if form != past[0][0])
        why = f'"{column}" counts: "{text}" is {at:%Y-%m-%d %H:%M} then, and would be {later:%Y-%m-%d} otherwise'
        return Known(f'"{form}"', f"{why}, which is in the future")
    if years[0][1].year < _RECENT:  # an older date is less likely than a newer one
        years.reverse()
    candidates = tuple(Candidate(f'"{form}"', f"it is {at:%Y-%m-%d %H:%M} then") for form, at in years)
    return Question("time_format", f"{asks}. Start and end of the sessions go with it", candidates)


def _asks_order(times: TimeNotation, column: str, texts: Sequence[str], header: int) -> str:
    """Return what is asked of the order of day, month and year."""
    asks, first = "is the day first or the month?", f'the first is "{texts[0]}"'
    if any(map(_year_first, times.formats)):
        asks = f"which of day, month and year is first? the rows do not show it; {first}"
    elif not times.odd:
        asks = f'{asks} no row of "{column}" has a number beyond 12; {first}'
    else:
        asks = f"{asks} {first}"
    if times.odd:
        shown = ", ".join(f'"{text}" (line {header + 1 + row} or near it)' for row, text in times.odd)
        asks += f"; few rows contradict one order, and may be typing errors: {shown}"
    return f"{asks}. Start and end of the sessions go with it"


def order_of(form: str) -> str:
    """Return in words which of day, month and year a format has first; a word for counted times as it is."""
    if "%" not in form:
        return form
    if _year_first(form):
        return "the year first"
    return "the day first" if form.index("%d") < form.index("%m") else "the month first"


def _year_first(form: str) -> bool:
    first = _OF_DATE.search(form)  # behind a weekday or another word
    return first is not None and first[0] == "%y"


_OF_DATE = re.compile("%[dmbyY]")
