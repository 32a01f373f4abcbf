"""Decides the time format and zone of each export, with a reason for each, or asks."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.clock import HOUR, MINUTE, moment
from pipeline.job.written_clock import WrittenClock, written_clock
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.look import ROWS
from pipeline.new_job.look_at_files import whole
from pipeline.new_job.month_first import month_first
from pipeline.new_job.order_in_heading import order_in_heading
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.stated_above import clock_stated
from pipeline.new_job.time_notation import TimeNotation, day_and_time, decided
from pipeline.new_job.twelve_hour_clocks import half_nowhere
from pipeline.new_job.values import given
from pipeline.new_job.zones import NearClock, clocks_near
from pipeline.read.clock_headings import is_offset, offsets_of_zone_name, zone_in_heading
from pipeline.read.findings import Unusable
from pipeline.read.times import clock
from pipeline.replace import replace
from pipeline.words import counted

_DAY = 24 * HOUR
#: By how much times go back over midnight at least, whatever the break was.
_BACK = 12 * HOUR
#: The longest break between two readings of one session.
_BREAK = 3 * HOUR
#: Readings that are counted from a beginning are of this year or later, rather than before.
_RECENT = 2020
#: By how much the clock of this machine may be behind.
_AHEAD = timedelta(days=2)
#: Rows among which one is looked for that tells day and month apart.
_MOST = 300_000
#: The share of times that has to lie in the sessions of a table for the table to tell the clock.
_INSIDE = 0.95


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


class Spans(Struct, frozen=True):
    """The sessions of a table, from and to (n,) UTC milliseconds, and the offsets from UTC that its times write."""

    file: str
    since: list[int]
    until: list[int]
    offsets: tuple[str, ...]

    def share(self, times: Sequence[str], time_format: str | None, zone: str) -> float:
        """Return the share of the texts that lie in a session when read so."""
        fields = clock(None, time_format).pattern.read(pa.array(times, pa.string()))
        if not fields.real.any():
            return 0.0
        kind = clock(zone, None).kind
        assert isinstance(kind, int)
        utc = fields.milliseconds[fields.real] - np.where(fields.zoned[fields.real], 0, kind * MINUTE)
        inside = np.zeros(len(utc), bool)
        for since, until in zip(self.since, self.until, strict=True):
            inside |= (utc >= since) & (utc < until)
        return float(inside.mean())


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
    order = _Order(one.look.header_line, month_first(one.look, place))
    form = _as_headed(_format(times, column, texts, spans, order), times, columns)
    form_now = form.candidates[0].value.strip('"') if isinstance(form, Question) else times.formats[0] or None
    if isinstance(form, Known):
        form_now = form.value.strip('"')
    unit = _unit_of_clock(column, one.look.columns[column])
    above = "" if unit or _says_clock(column, columns.get("date")) else clock_stated(one.look)
    called = f"{column} [{unit or above}]" if unit or above else column
    written = _Written(called, columns.get("date"), texts, form_now)
    zone, zone_now = _zone(times, written, place, spans)
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
        return ClockState(form, _said_zone(column, said, None), None, said)
    near = clocks_near(*place) if place is not None else []
    return ClockState(form, _asks_zone(column, date, text, near, None), None, "UTC")


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


class _Order(Struct, frozen=True):
    """What the order of day and month is judged by: the ``header``'s line, and whether the month is likelier first."""

    header: int
    month_first: bool | None


def _format(times: TimeNotation, column: str, texts: Sequence[str], spans: Spans | None, order: _Order) -> State:
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
        fitting = [form for form in times.formats if worth[form] >= _INSIDE]
        if len(fitting) == 1:
            return Known(f'"{fitting[0]}"', f"read this way, the times are in the sessions of {spans.file}")
    forms = sorted(
        times.formats, key=lambda form: (_days(form, texts), _is_old(form, texts), *_likeliest(form, order.month_first))
    )
    candidates = tuple(Candidate(f'"{form}"', order_of(form)) for form in forms)
    return Question("time_format", _asks_order(times, column, texts, order.header), candidates)


def _as_headed(form: State, times: TimeNotation, columns: dict[str, str]) -> State:
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
    return int(np.ptp(fields.milliseconds[fields.real]) // _DAY) if fields.real.any() else 0


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


class _Written(Struct, frozen=True):
    """How the times of an export are written: ``texts`` of a ``column`` in a ``form``, their ``date`` in another."""

    column: str
    date: str | None
    texts: Sequence[str]
    form: str | None


def _zone(
    times: TimeNotation, written: _Written, place: tuple[float, float] | None, spans: Spans | None
) -> tuple[State, str]:
    """Return the state of ``time_zone``, and the zone to read times by for now."""
    if times.zoned:
        return None, "UTC"
    column, date, texts, form = written.column, written.date, written.texts, written.form
    if (clock_behind := written_clock(form)) is not None:
        return _written_zone(column, clock_behind), clock_behind.zones[0]
    said, of_date = zone_in_heading(column), zone_in_heading(date) if date is not None else None
    if said and date is not None and (of_date not in (None, said) or (of_date is None and _stays(texts, form))):
        return _asks_one_clock(column, date, said, of_date), said
    near = clocks_near(*place) if place is not None else []
    if said == "" and date is not None and of_date:
        return _asks_local_clock(column, date, of_date, near, written), near[0].zone if near else "UTC"
    if said and near and not any(map(str.isdigit, column)) and _in_summer(near[0].zone, said, texts, form):
        return _asks_summer(column, said, near[0].zone), said
    if said:
        return _said_zone(column, said, date if of_date is None else None), said
    fitting = _fitting(texts, form, spans) if spans is not None else None
    if fitting is not None:
        return fitting
    return _asks_zone(column, date, texts[0], near, of_date), near[0].zone if near else "UTC"


def _written_zone(column: str, written: WrittenClock) -> State:
    """Return the zone that stands behind every time."""
    if len(written.zones) == 1:
        return Known(f'"{written.zones[0]}"', f'"{written.text}" behind the times says so')
    candidates = tuple(Candidate(f'"{zone}"', f"if {written.text} is that clock") for zone in written.zones)
    return Question("time_zone", f'which clock is "{written.text}", behind the times of "{column}"?', candidates)


def _said_zone(column: str, said: str, date: str | None) -> Known:
    """Return the zone that a heading says; ``date`` is that of dates in a column of their own that says none."""
    scale = " the GPS time scale" if said == "GPS" else " so"
    named = ", summer and winter alike" if "UTC" not in column.upper() and said[0] in "+-" else ""
    why = f'the heading "{column}" says{scale}{named}'
    if date is not None:
        why += f'; the dates of "{date}" are assumed to be on the same clock'
    return Known(f'"{said}"', why)


def _fitting(texts: Sequence[str], form: str | None, spans: Spans) -> tuple[State, str] | None:
    """Return the only zone by which times lie in the sessions of a table, None where there is none or several."""
    shares = {zone: spans.share(texts, form, zone) for zone in dict.fromkeys((*spans.offsets, "UTC"))}
    fitting = [zone for zone, share in shares.items() if share >= _INSIDE]
    if len(fitting) != 1:
        return None
    why = f"read so, the times lie in the sessions of {spans.file}"
    if fitting[0] != "UTC":
        why += ", whose times are written with this offset"
    return Known(f'"{fitting[0]}"', why), fitting[0]


def _asks_zone(column: str, date: str | None, text: str, near: Sequence[NearClock], of_date: str | None) -> Question:
    """Return the question which clock times are on, of which nothing says it; ``near`` are zones near the readings.

    ``of_date`` is what the heading of dates in a column of their own says.
    """
    several = offsets_of_zone_name(column) or (offsets_of_zone_name(date) if date is not None else ())
    candidates = [Candidate(f'"{offset}"', f"if it is {whose}") for offset, whose in several]
    candidates += [Candidate(f'"{one.zone}"', one.whose) for one in near]
    candidates += [Candidate('"UTC"', "if the export is in UTC"), Candidate('"GPS"', "on the GPS time scale")]
    if of_date and date is not None:
        first = Candidate(f'"{of_date}"', f'if times are on the clock of the dates, as "{date}" says')
        candidates = [first, *(one for one in candidates if one.value != first.value)]
    asks = f'which clock are the times of "{column}" on, as "{text}"?'
    if is_offset(column):
        asks += " its heading mentions an offset from UTC but does not state it"
    elif several:
        asks += " the name of the zone in the heading is used for several"
    else:
        asks += " neither its texts nor its heading name a zone that is known here"
    return Question("time_zone", asks, tuple(candidates))


def _stays(texts: Sequence[str], form: str | None) -> bool:
    """Tell whether times go back by half a day or more under one date: it is of a clock whose midnight is another."""
    fields = clock(None, form).pattern.read(pa.array(texts, pa.string()))
    times = fields.milliseconds[fields.real]
    same = times[1:] // _DAY == times[:-1] // _DAY
    return bool((same & (times[:-1] - times[1:] >= _BACK)).any())


def _in_summer(near: str, said: str, texts: Sequence[str], form: str | None) -> bool:
    """Tell whether the zone of the nearest town has summer time on a day of these times, and is ``said`` in winter.

    By the name of the time in winter many mean what the clock on the wall shows.
    """
    fields = clock(None, form).pattern.read(pa.array(texts, pa.string()))
    days = np.unique(fields.milliseconds[fields.real] // _DAY)
    for noon in (moment(int(day) * _DAY + _DAY // 2).replace(tzinfo=ZoneInfo(near)) for day in days):
        ahead, summer = noon.utcoffset(), noon.dst()
        if ahead and summer and (ahead - summer).total_seconds() * 1000 == _ahead(said):
            return True
    return False


def _ahead(zone: str) -> int | None:
    """Return by how many milliseconds a clock of one offset is ahead of UTC, None of others."""
    kind = clock(zone, None).kind
    return kind * MINUTE if isinstance(kind, int) else None


def _asks_summer(column: str, said: str, near: str) -> Question:
    """Return the question whether a clock was turned in summer, where a heading has the name of winter's time."""
    asks = (
        f'"{column}" names the time of winter, UTC{said}, and clocks are an hour ahead of that where and when this was'
        " observed: what did the controller's clock show?"
    )
    stays = Candidate(f'"{said}"', "if it was not changed: winter time all year")
    return Question("time_zone", asks, (Candidate(f'"{near}"', "what clocks on the wall show there"), stays))


def _asks_local_clock(column: str, date: str, of_date: str, near: Sequence[NearClock], written: _Written) -> Question:
    """Return the question whether dates are local as the times beside them are, whose own heading says otherwise."""
    why = f'the heading "{date}" says {of_date}, and "{column}" a local clock'
    if _turns(written.texts, written.form):
        why += ". The date changes between two readings of one session, with no midnight between them"
    asks = f'are the dates of "{date}" on the same clock as the times of "{column}"? {why}'
    other = "if they are; else export dates and times on one clock, or both in one column"
    return Question("time_zone", asks, tuple(Candidate(f'"{one.zone}"', f"{other}; {one.whose}") for one in near))


def _turns(texts: Sequence[str], form: str | None) -> bool:
    """Tell whether a day is skipped between two times of day that are close: the date is not of their clock."""
    fields = clock(None, form).pattern.read(pa.array(texts, pa.string()))
    times = fields.milliseconds[fields.real]
    return bool(((np.diff(times) >= _DAY) & (np.diff(times) <= _DAY + _BREAK)).any())


def _asks_one_clock(column: str, date: str, said: str, of_date: str | None) -> Question:
    """Return the question whether dates and times of two columns are of one clock, which two headings leave open."""
    why = f'the heading "{date}" names a different clock'
    if of_date is None:
        why = "times pass midnight but the date stays, as happens with local dates"
    asks = f'are the dates of "{date}" on the same clock as "{column}", which says {said}? {why}'
    other = "if they are; else export dates and times on one clock, or both in one column"
    return Question("time_zone", asks, (Candidate(f'"{said}"', other),))
