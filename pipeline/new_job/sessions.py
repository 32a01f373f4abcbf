"""Sessions drafted from gaps in time and base ids, with the readings on marks that tie and check each."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.clock import MINUTE, moment
from pipeline.job.model import Checks
from pipeline.job.toml_text import listed, quoted
from pipeline.new_job.clock_formats import order_of
from pipeline.new_job.clocks import ClockState
from pipeline.new_job.draft import Draft, SessionDraft
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.occupations import ReadingsAndMarks, joined, occupied
from pipeline.new_job.questions import Candidate, Known, Question
from pipeline.new_job.stretches import GAP, MARGIN, Stretch, slips, stretches, windows
from pipeline.new_job.ties_and_checks import SessionOccupations, is_check
from pipeline.new_job.timed_rows import TimedRows
from pipeline.read.times import clock as read_by
from pipeline.replace import replace
from pipeline.words import counted, plural

#: The codes of checks that need not be stated.
_CODES = set(Checks().codes)
#: When the GPS time scale began, 6 January 1980, UTC milliseconds; leap seconds are less than the margin of a session.
_GPS_BEGAN = 315_964_800_000
#: Readings that are told of one kind.
_TOLD = 6


def sessions(
    draft: Draft,
    both: ReadingsAndMarks,
    clocks: Sequence[ClockState],
    exports: Sequence[FileFound],
    on_clock: bool,
) -> None:
    """Draft the sessions.

    Args:
        draft: takes them up, with what is to be told of them.
        both: the readings and marks.
        clocks: of the exports.
        exports: in the order of the rows' numbers.
        on_clock: whether times of a clock that is asked for are written without an offset.
    """
    rows = both.rows
    parts = stretches(rows)
    found = [occupied(one, both) for one in parts]
    on_marks = np.zeros(len(rows), bool)
    on_marks[[at for each in found for at, _ in each.every]] = True
    left = slips(parts, on_marks)
    for one, slip in zip(parts, left, strict=True):
        if slip:
            draft.notes.append(_slip(one, rows, exports))
    kept = [(one, each) for one, each, slip in zip(parts, found, left, strict=True) if not slip]
    join_by_temporary_marks(kept, both)
    spans = windows([one for one, _ in kept])
    names: set[str] = set()
    for (one, each), (since, until) in zip(kept, spans, strict=True):
        clock = clocks[int(rows.export[one.members[0]])]
        session = _dated(one, since, until, clock, names)
        asked = {isinstance(clocks[at].zone, Question) for at in np.unique(rows.export[one.members]).tolist()}
        if len(asked) > 1:
            start, end = _by_each_answer(one, rows, clocks, since, until)
            session.start, session.end, session.otherwise = start, end, []
            draft.notes.append(
                f"session {session.name} has readings with and without an offset from UTC in their times:"
                " start and end are in UTC and cover them for each answer to time_zone; narrow them to the base's"
            )
        elif on_clock and isinstance(clock.zone, Question) and (twice := _comes_twice(session)) is not None:
            draft.notes.append(
                f"session {session.name}: {twice:%Y-%m-%d %H:%M} comes twice in {clock.zone_now}, where the clocks go"
                " back, so start and end have their offset from UTC: with another answer to time_zone write them anew"
            )
        elif on_clock and isinstance(clock.zone, Question):
            _take_offsets_off(session)
        add_session(draft, session, (one, each), both)
    draft.codes = codes_of_checks(rows, {at for _, each in kept for at, _ in each.every})


def add_session(
    draft: Draft, session: SessionDraft, read: tuple[Stretch, SessionOccupations], both: ReadingsAndMarks
) -> None:
    """Add a session to a draft, with the ties and checks among its readings, or the question after them.

    ``read`` are the readings of the session and those on marks.
    """
    one, each = read
    session.ties, session.checks = each.named(both.rows)
    if not each.ties and any(isinstance(draft.control.get(key), Question) for key in ("file", "layer")):
        asks = "which reading was on which mark? finding that needs the register, which is not known yet"
        session.asks = Question(f"session {session.name}: ties", asks)
    elif not each.ties and not both.marks.names:
        asks = (
            "which reading was on which mark? there is no register of marks that could be read: put it into the folder"
            " and run `tiedown new` again, or name it in [control]"
        )
        repeats = any(other.asks is not None and other.asks.asks == asks for other in draft.sessions)
        session.asks = Question(f"session {session.name}: ties", asks, repeats=repeats)
    elif not each.ties:
        session.asks = _asks(session.name, one, each, both)
    draft.sessions.append(session)
    draft.notes += _told(session, each, both.rows)


def _dated(one: Stretch, since: int, until: int, clock: ClockState, names: set[str]) -> SessionDraft:
    """Return a session with its name, which is added to ``names``, and its start and end on the clock of its export."""
    zone = _zone(clock)
    start, end = (moment(time).astimezone(zone) for time in (since, until))
    session = SessionDraft(_name(start.strftime("%m%d"), one.base, names), start, end, one.base, _why(one))
    if isinstance(clock.format, Question):
        session.otherwise = list(_otherwise(clock, (one.start, since), (one.end, until), zone))
        session.order = order_of(clock.format_now or "")
    return session


def _comes_twice(session: SessionDraft) -> datetime | None:
    """Return a bound of a session that its clock shows twice, as one does that is put back; None where none is."""
    bounds = [session.start, session.end, *(bound for _, *pair in session.otherwise for bound in pair)]
    for each in bounds:
        first, second = (each.replace(fold=fold).utcoffset() or timedelta() for fold in (0, 1))
        if first > second:  # where the clocks go forward, the time that is left out has them the other way round
            return each
    return None


def _take_offsets_off(session: SessionDraft) -> None:
    """Write start and end, with dates in each order, without their offset: their clock is still asked for."""
    session.start, session.end = session.start.replace(tzinfo=None), session.end.replace(tzinfo=None)
    session.otherwise = [
        (order, start.replace(tzinfo=None), end.replace(tzinfo=None)) for order, start, end in session.otherwise
    ]


def _zone(clock: ClockState) -> tzinfo:
    """Return the clock on which a session's times are written: that of its export, UTC for the GPS time scale."""
    name = clock.zone_now
    if name in ("UTC", "GPS"):
        return UTC
    kind = read_by(name, None).kind
    if isinstance(kind, int):
        return timezone(timedelta(minutes=kind))
    return ZoneInfo(name)


def _by_each_answer(
    one: Stretch, rows: TimedRows, clocks: Sequence[ClockState], since: int, until: int
) -> tuple[datetime, datetime]:
    """Return the bounds of a session in UTC, with the readings of a clock that is asked for by each of its answers."""
    low, high = since, until
    for at in one.members.tolist():
        clock, time = clocks[int(rows.export[at])], moment(int(rows.time[at]))
        if not isinstance(clock.zone, Question):
            continue
        now = time.astimezone(_zone(clock)).utcoffset() or timedelta()
        for each in clock.zone.candidates:
            other = replace(clock, zone_now=each.value.strip('"'))
            later = now - (time.astimezone(_zone(other)).utcoffset() or timedelta())
            if abs(step := round(later.total_seconds() * 1000)) >= GAP:  # that may be another session's time
                continue
            moved = (int(rows.time[at]) + step) // MINUTE * MINUTE
            low, high = min(low, moved - MARGIN), max(high, moved + MINUTE + MARGIN)
    return moment(low).astimezone(UTC), moment(high).astimezone(UTC)


def _otherwise(
    clock: ClockState, first: tuple[int, int], last: tuple[int, int], zone: tzinfo
) -> Iterator[tuple[str, datetime, datetime]]:
    """Yield the bounds of a session, each given with the reading beside it, as the other orders of dates have them."""
    assert isinstance(clock.format, Question) and clock.format_now is not None
    for each in clock.format.candidates:
        form = each.value.strip('"')
        if form == clock.format_now:
            continue
        try:
            since, until = (_turned(*pair, zone, clock.format_now, form) for pair in (first, last))
        except ValueError:  # that date is none in this order
            continue
        yield order_of(form), since, until


def _turned(reading: int, bound: int, zone: tzinfo, now: str, other: str) -> datetime:
    """Return a bound of a session with the date of the reading beside it in another order than it is read by now."""
    if "%" not in now:  # seconds since 1970 and since the GPS time scale began
        return moment(bound + (_GPS_BEGAN if other.startswith("gps") else -_GPS_BEGAN)).astimezone(zone)
    local = moment(reading).astimezone(zone)
    read, meant = (re.split("[ T,]", form)[0] for form in (now, other))
    date = datetime.strptime(local.strftime(read), meant).date()
    return datetime.combine(date, local.timetz()) + timedelta(milliseconds=bound - reading)


def _name(day: str, base: str, taken: set[str]) -> str:
    """Return a name of day and base that no session has yet."""
    stem = re.sub(r"[^a-z0-9]+", "-", base.casefold()).strip("-")
    name = first = f"{day}-{stem}" if stem else day
    number = 2
    while name in taken:
        name, number = f"{first}-{number}", number + 1
    taken.add(name)
    return name


def _why(one: Stretch) -> str:
    whose = f"base id {one.base}" if one.base else "no base id"
    return f"{counted(len(one.members), 'reading')} with {whose}"


def _slip(one: Stretch, rows: TimedRows, exports: Sequence[FileFound]) -> str:
    first = int(one.members[0])
    where = f"{exports[int(rows.export[first])].look.shown}:{int(rows.row[first])}"
    whose = f" with the base id {one.base}" if one.base else ""
    readings = counted(len(one.members), "reading")
    return f"{where}: {readings}{whose} far from the others in time, or from another base; no session is made of them"


def join_by_temporary_marks(kept: Sequence[tuple[Stretch, SessionOccupations]], both: ReadingsAndMarks) -> None:
    """Tie sessions without a mark to others by temporary marks that both occupied."""
    waiting = [pair for pair in kept if not pair[1].ties]
    while waiting:
        before = len(waiting)
        for one, each in list(waiting):
            others = [(other, theirs) for other, theirs in kept if theirs.ties]
            for here, there, mark in joined(one, others, both):
                each.ties.append((here, mark))
                other = next(theirs for stretch, theirs in others if there in stretch.members)
                if (there, mark) not in other.ties:
                    other.ties.append((there, mark))
            if each.ties:
                waiting.remove((one, each))
        if len(waiting) == before:
            return


def _asks(name: str, one: Stretch, each: SessionOccupations, both: ReadingsAndMarks) -> Question:
    rows, marks = both.rows, both.marks
    inside = [(int(at), int(mark)) for at, mark in zip(*both.says, strict=True) if at in set(one.members.tolist())]
    candidates: dict[str, Candidate] = {}
    for at, number in inside:
        mark = quoted(marks.names[number] if number >= 0 else "MARK")
        point = quoted(rows.name[at])
        why = f"its code is {rows.code[at]}" if rows.code[at] else ""
        value = f"[{{ point = {point}, mark = {mark} }}]"
        candidates.setdefault(value, Candidate(value, why))
    asks = "which reading was on which mark of the register? "
    asks += "; ".join(each.told[:_TOLD]) if each.told else "none was found on one"
    twice = Counter((rows.name[at], int(rows.time[at])) for at in one.members.tolist()).values()
    if again := sum(count > 1 for count in twice):
        many = f"{counted(again, 'reading')} {plural(again, 'comes', 'come')}"
        asks += (
            f"; {many} twice, with the same name and time: remove one of two exports of the same readings from the job"
        )
    return Question(f"session {name}: ties", asks, tuple(candidates.values())[:_TOLD])


def _told(session: SessionDraft, each: SessionOccupations, rows: TimedRows) -> list[str]:
    told = []
    for at, mark, off in each.astray[:_TOLD]:
        if np.isfinite(off):
            told.append(f"session {session.name}: {rows.name[at]} states mark {mark} but is {off:.1f} m from it")
    if each.computed:
        told.append(f"session {session.name}: {each.computed}")
    marks = {mark for _, mark in session.ties}
    if session.ties:
        told += [f"session {session.name}: {why}" for why in each.told[:_TOLD]]
    if session.ties and not [mark for _, mark in session.checks if mark not in marks]:
        none = "no reading on a second mark can be named" if each.told else "no second mark was occupied"
        told.append(f"session {session.name}: {none}, so it cannot be proven")
    return told


def codes_of_checks(rows: TimedRows, on_marks: set[int]) -> Known | None:
    """Return the codes of checks, where they are others than those that hold unless stated."""
    counts: Counter[str] = Counter(code for code in rows.code if code)
    found: Counter[str] = Counter(rows.code[at] for at in on_marks if rows.code[at] and is_check(rows, at))
    codes = sorted(code for code, count in found.items() if 2 * count >= counts[code])
    if not codes or {code.upper() for code in codes} <= _CODES:
        return None
    return Known(listed(codes), "the codes of the readings on marks")
