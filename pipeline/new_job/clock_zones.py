"""Decides which clock the times of an export are on, or asks."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.clock import DAY, HOUR, MINUTE, moment
from pipeline.job.written_clock import WrittenClock, written_clock
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.session_spans import INSIDE, Spans
from pipeline.new_job.time_notation import TimeNotation
from pipeline.new_job.zones import NearClock, clocks_near
from pipeline.read.clock_headings import is_offset, offsets_of_zone_name, zone_in_heading
from pipeline.read.times import clock

#: By how much times go back over midnight at least, whatever the break was.
_BACK = 12 * HOUR

#: The longest break between two readings of one session.
_BREAK = 3 * HOUR

#: What is filled in where no zone can be named.
_LOCAL = Candidate('"Continent/City"', "if it is a local clock: the zone's name in the time zone database")


class WrittenTimes(Struct, frozen=True):
    """How the times of an export are written: ``texts`` of a ``column`` in a ``form``, their ``date`` in another."""

    column: str
    date: str | None
    texts: Sequence[str]
    form: str | None


def zone_of(
    times: TimeNotation, written: WrittenTimes, place: tuple[float, float] | None, spans: Spans | None
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
        return said_zone(column, said, date if of_date is None else None), said
    fitting = _fitting(texts, form, spans) if spans is not None else None
    if fitting is not None:
        return fitting
    return zone_question(column, date, texts[0], near, of_date), near[0].zone if near else "UTC"


def _written_zone(column: str, written: WrittenClock) -> State:
    """Return the zone that stands behind every time."""
    if len(written.zones) == 1:
        return Known(f'"{written.zones[0]}"', f'"{written.text}" behind the times says so')
    candidates = tuple(Candidate(f'"{zone}"', f"if {written.text} is that clock") for zone in written.zones)
    return Question("time_zone", f'which clock is "{written.text}", behind the times of "{column}"?', candidates)


def said_zone(column: str, said: str, date: str | None) -> Known:
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
    fitting = [zone for zone, share in shares.items() if share >= INSIDE]
    if len(fitting) != 1:
        return None
    why = f"read so, the times lie in the sessions of {spans.file}"
    if fitting[0] != "UTC":
        why += ", whose times are written with this offset"
    return Known(f'"{fitting[0]}"', why), fitting[0]


def zone_question(column: str, date: str | None, text: str, near: Sequence[NearClock], of_date: str | None) -> Question:
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
    if not near:
        asks += "; where the job lies is not known here, so no zone can be named: for a local clock write its own"
    return Question("time_zone", asks, tuple(candidates), blank=None if near else _LOCAL)


def _stays(texts: Sequence[str], form: str | None) -> bool:
    """Tell whether times go back by half a day or more under one date: it is of a clock whose midnight is another."""
    fields = clock(None, form).pattern.read(pa.array(texts, pa.string()))
    times = fields.milliseconds[fields.real]
    same = times[1:] // DAY == times[:-1] // DAY
    return bool((same & (times[:-1] - times[1:] >= _BACK)).any())


def _in_summer(near: str, said: str, texts: Sequence[str], form: str | None) -> bool:
    """Tell whether the zone of the nearest town has summer time on a day of these times, and is ``said`` in winter.

    By the name of the time in winter many mean what the clock on the wall shows.
    """
    fields = clock(None, form).pattern.read(pa.array(texts, pa.string()))
    days = np.unique(fields.milliseconds[fields.real] // DAY)
    for noon in (moment(int(day) * DAY + DAY // 2).replace(tzinfo=ZoneInfo(near)) for day in days):
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


def _asks_local_clock(
    column: str, date: str, of_date: str, near: Sequence[NearClock], written: WrittenTimes
) -> Question:
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
    return bool(((np.diff(times) >= DAY) & (np.diff(times) <= DAY + _BREAK)).any())


def _asks_one_clock(column: str, date: str, said: str, of_date: str | None) -> Question:
    """Return the question whether dates and times of two columns are of one clock, which two headings leave open."""
    why = f'the heading "{date}" names a different clock'
    if of_date is None:
        why = "times pass midnight but the date stays, as happens with local dates"
    asks = f'are the dates of "{date}" on the same clock as "{column}", which says {said}? {why}'
    other = "if they are; else export dates and times on one clock, or both in one column"
    return Question("time_zone", asks, (Candidate(f'"{said}"', other),))
