"""Decides the time format and zone of each export, with a reason for each, or asks."""

import re
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.new_job.clock_formats import Order, as_headed, format_of
from pipeline.new_job.clock_zones import WrittenTimes, said_zone, zone_of, zone_question
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.look import ROWS
from pipeline.new_job.look_at_files import whole
from pipeline.new_job.month_first import month_first
from pipeline.new_job.questions import Known, Question, State
from pipeline.new_job.session_spans import Spans
from pipeline.new_job.stated_above import clock_stated
from pipeline.new_job.time_notation import TimeNotation, day_and_time, decided
from pipeline.new_job.twelve_hour_clocks import half_nowhere
from pipeline.new_job.values import given
from pipeline.new_job.zones import clocks_near
from pipeline.read.clock_headings import is_offset, offsets_of_zone_name, zone_in_heading
from pipeline.read.findings import Unusable
from pipeline.read.times import clock
from pipeline.replace import replace

#: Rows among which one is looked for that tells day and month apart.
_MOST = 300_000


class ClockState(Struct, frozen=True):
    """The states of ``time_format`` and ``time_zone``, and what times are read by until they are answered.

    ``half`` is what is asked where they may be of a 12-hour clock that does not say which half of the day it is, "" of
    others.
    """

    format: State
    zone: State
    format_now: str | None
    zone_now: str
    half: str = ""


def clock_of(one: FileFound, place: tuple[float, float] | None, spans: Spans | None) -> ClockState:
    """Return the clock of an export; ``place`` is where it lies [deg], where that is known."""
    times = one.mapped.times
    assert times is not None
    columns = one.mapped.columns
    if "gps_week" in columns:
        return ClockState(None, None, None, "UTC")
    column = columns["time"]
    texts = _from_sound(_texts(one, one.look.columns), times.formats[0])
    if len(times.formats) > 1 and "%" in times.formats[0]:
        times = _looked_further(one, times)
    order = Order(one.look.header_line, month_first(one.look, place))
    form = as_headed(format_of(times, column, texts, spans, order), times, columns)
    form_now = form.candidates[0].value.strip('"') if isinstance(form, Question) else times.formats[0] or None
    if isinstance(form, Known):
        form_now = form.value.strip('"')
    unit = _unit_of_clock(column, one.look.columns[column])
    above = "" if unit or _says_clock(column, columns.get("date")) else clock_stated(one.look)
    called = f"{column} [{unit or above}]" if unit or above else column
    written = WrittenTimes(called, columns.get("date"), texts, form_now)
    zone, zone_now = zone_of(times, written, place, spans)
    if unit:
        zone = _said_elsewhere(zone, column, unit, "in the row of units", f' below "{column}"')
    elif above:
        zone = _said_elsewhere(zone, column, above, one.look.stands)
    if isinstance(zone, Question) and (beside := _offsets(one)) is not None:
        first = next(iter(given(one.look.columns[beside])), "")
        zone = replace(zone, asks=f'{zone.asks}; the column "{beside}" beside it, which is not read, has "{first}"')
    return ClockState(form, zone, form_now, zone_now, _half(one, column, texts, form_now))


def clock_of_unread(
    column: str, date: str | None, text: str, place: tuple[float, float] | None, form: State
) -> ClockState:
    """Return the clock of times that cannot be read, as ``text``, whose ``form`` is asked for, if it may be stated.

    It is known where a heading says it, and stated by the times themselves where an offset ends them.
    """
    said = zone_in_heading(column) or (zone_in_heading(date) if date is not None else None)
    if _OFFSET_LAST.search(text):
        return ClockState(form, None, None, "UTC")
    if said:
        return ClockState(form, said_zone(column, said, None), None, said)
    near = clocks_near(*place) if place is not None else []
    return ClockState(form, zone_question(column, date, text, near, None), None, "UTC")


#: An offset from UTC, or its Z, at the end of a time.
_OFFSET_LAST = re.compile(r"[0-9] ?(?:Z|UTC|[+-][0-9]{2}:?[0-9]{2})$")


def _from_sound(texts: Sequence[str], form: str) -> list[str]:
    """Return the texts that there are, from the first one on that is a time: units, or a slip, may stand before it."""
    some = given(texts)
    matched = clock(None, form or None).pattern.read(pa.array(some, pa.string())).matched
    return some[int(np.argmax(matched)) :]


def _unit_of_clock(column: str, texts: Sequence[str]) -> str:
    """Return what a row of units below the header says of the clock, "" where the heading says it or nothing does."""
    first = next(iter(given(texts)), "").strip(" []()")
    if any(map(str.isdecimal, re.sub(r"[+-]\d\d?(?::?\d\d)?", "", first))) or zone_in_heading(column) is not None:
        return ""
    with_it = f"{column} [{first}]"
    return (
        first
        if first
        and not offsets_of_zone_name(column)
        and (zone_in_heading(with_it) is not None or offsets_of_zone_name(with_it))
        else ""
    )


def _says_clock(column: str, date: str | None) -> bool:
    """Tell whether a heading of times, or of their dates, says a clock."""
    return any(zone_in_heading(name) is not None or offsets_of_zone_name(name) for name in (column, date or ""))


def _said_elsewhere(zone: State, column: str, unit: str, where: str, of: str = "") -> State:
    """Say of a clock that it is the row of units that names it, or a line above the header, rather than the heading."""
    heading, row = f'"{column} [{unit}]"', f'"{unit}" {where}{of}'
    if isinstance(zone, Known):
        return replace(zone, why=zone.why.replace(f"the heading {heading}", row))
    if isinstance(zone, Question):
        asks = zone.asks.replace(f"the times of {heading}", f'the times of "{column}"').replace(heading, row)
        return replace(zone, asks=asks.replace("in the heading", where))
    return zone


def _half(one: FileFound, column: str, texts: Sequence[str], form: str | None) -> str:
    """Return what `half_nowhere` asks of the rows of an export: of all of them where the first few leave it open."""
    if len(one.look.columns[column]) >= ROWS:
        try:
            texts = [text for text in _texts(one, whole(one.look, _MOST)[0]) if text]
        except (Unusable, OSError):
            return ""
    return half_nowhere(column, texts, form)


def _offsets(one: FileFound) -> str | None:
    """Return the column beside the times whose heading says offsets from UTC or zones; None where there is none."""
    taken = (one.mapped.columns.get("time"), one.mapped.columns.get("date"))
    return next((name for name in one.look.names if name not in taken and is_offset(name)), None)


def _looked_further(one: FileFound, times: TimeNotation) -> TimeNotation:
    """Look through the whole file for a row that tells day and month apart."""
    try:
        texts, _ = whole(one.look, _MOST)
    except (Unusable, OSError):
        return times
    return decided(times.formats, _texts(one, texts), times.zoned)


def _texts(one: FileFound, texts: dict[str, list[str]]) -> list[str]:
    """Return the times of an export as the reader has them: those of two columns together."""
    columns = one.mapped.columns
    if "date" in columns:
        return day_and_time(texts[columns["date"]], texts[columns["time"]])
    return texts[columns["time"]]
