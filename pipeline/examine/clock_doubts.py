"""Clocks that may be off for a whole export: no zone stated, zones that disagree, a heading that says another, rows
that fit at other hours, or that are out of the order of their file.

Times that are off by whole hours leave the proof as it is where they stay in their sessions, as occupations move along.
Where some would then belong to another session, and so to another base, they take it away; likewise where it is their
clock that has a good part of a file held back, with whatever checks are in it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Integers
from pipeline.clock import DAY, HOUR, MINUTE, moment
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.headed_clocks import Headed, headed_otherwise, minutes_east, states_utc
from pipeline.examine.row_order_words import order_words
from pipeline.intake.clock_offset import advice, offset_words
from pipeline.intake.named_points import named_points
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.read.clock_changes import ClockChange
from pipeline.read.exports import Export
from pipeline.read.times import clock
from pipeline.sessions.attach import SessionIndex
from pipeline.tables import milliseconds
from pipeline.words import Doubt, Reason, counted, plural

_HOURS = tuple(sign * hour * HOUR for hour in range(1, 15) for sign in (1, -1))
#: A part of an export's readings that lies outside all sessions, and how many, before another hour is looked for.
_OUTSIDE, _MANY = 0.05, 10
#: The part of its readings that a clock has to hold back before it is in doubt. Of a crew that came an hour late and
#: worked on after the base was packed up, less may be outside, and an hour earlier would put that inside, too.
_PART_HELD = 0.25
#: Hours between UTC and the legal times of the world, summer's among them, by their laws.
_LEGAL_HOURS = (*range(-11, 15), -9.5, -3.5, -2.5, 3.5, 4.5, 5.5, 5.75, 6.5, 8.75, 9.5, 10.5, 12.75, 13.75)
#: Hours by which legal time is ahead of the sun's, from and to, and degrees of longitude under one hour of that.
_LEGAL, _UNDER_ONE_HOUR = (-1.0, 2.6), 15.0
#: Milliseconds for which a controller's clock is taken to stay as it was set. Common practice, no source.
_SAME_CLOCK = 8 * DAY
#: The part of them that another hour has to put into sessions, and that it may put out of them.
_FITS, _LOST = 0.98, 0.02
#: How many times longer a pause between sessions has to be than another one to speak for them.
_LONGER = 1.5


@dataclass(frozen=True)
class _Fit:
    """What an offset does to an export's ``rows``: how many lie in sessions, and how many change theirs."""

    offset: int
    rows: int
    within: int
    changed: int

    @property
    def inside(self) -> float:
        """The part of the readings that lies in sessions."""
        return self.within / max(self.rows, 1)


@dataclass(frozen=True)
class _Clock:
    """The clock of an export, and of ``others`` with it: when there are readings, and which sessions they belong to."""

    survey: Survey
    number: int
    index: SessionIndex
    others: tuple[int, ...] = ()

    @property
    def export(self) -> Export:
        return self.survey.exports[self.number]

    @cached_property
    def minutes(self) -> tuple[pa.Array, Integers, Integers]:
        """Base ids, the middles of minutes and how many readings each has, those of all bases one after the other."""
        logs = [self.survey.first_pass.files[number] for number in (self.number, *self.others)]
        found = [(base, *of_base) for log in logs for base, of_base in log.clock().items()]
        none = np.zeros(0, np.int64)
        which = np.repeat(np.arange(len(found)), np.array([len(minute) for _, minute, _ in found], np.int64))
        return (
            pa.array([base for base, _, _ in found], pa.string()).take(pa.array(which)),
            np.concatenate([none, *(minute for _, minute, _ in found)]) + MINUTE // 2,
            np.concatenate([none, *(count for _, _, count in found)]),
        )

    @cached_property
    def before(self) -> NDArray[np.int32]:
        """The sessions that the readings of each minute belong to as they are."""
        bases, minute, _ = self.minutes
        return self.index.attach(minute, bases)

    def fit(self, offset: int, since: int | None = None) -> _Fit:
        """Return what an offset, in milliseconds, does to readings since a time, UTC milliseconds; None: to all."""
        bases, minute, count = self.minutes
        moved = offset if since is None else np.where(minute >= since, offset, 0)
        before, after = self.before, self.index.attach(minute + moved, bases) if offset else self.before
        inside = int(count[after >= 0].sum())
        changed = int(count[(before >= 0) & (after >= 0) & (before != after)].sum())
        return _Fit(offset, int(count.sum()), inside, changed)

    @cached_property
    def _occupations(self) -> tuple[Integers, Integers, Integers]:
        """Times of the occupations that sessions name in this export, and start and end of those sessions."""
        said, table = named_points(self.survey.prepared), self.survey.first_pass.candidates
        rows = [
            row
            for row, (name, session, export) in enumerate(
                zip(*(table.column(key).to_pylist() for key in ("name", "session", "export")), strict=True)
            )
            if export in (self.number, *self.others) and (session, name or "") in said
        ]
        session = np.asarray(table.column("session"), np.int64)[rows]
        start, end = (
            np.array([getattr(window, key) for window in self.survey.windows], np.int64)
            for key in ("start_ms", "end_ms")
        )
        return milliseconds(table)[rows], start[session], end[session]

    def keeps(self, offset: int, since: int | None = None) -> bool:
        """Return whether every occupation that a session names would still lie in it."""
        time, start, end = self._occupations
        time = time + (offset if since is None else np.where(time >= since, offset, 0))
        return bool(((time >= start) & (time < end)).all())

    def change(self, change: ClockChange) -> int:
        """Return when a change of the zone's clocks was, UTC milliseconds, to the minute."""
        zone, low, high = clock(self.export.points.time_zone, None).kind, change.since, change.until
        while high - low > MINUTE:
            middle = (low + high) // 2
            east = minutes_east(zone, moment(middle)) * MINUTE
            low, high = (middle, high) if east == change.before else (low, middle)
        return (low // MINUTE + 1) * MINUTE

    def since(self, time: int) -> tuple[int, ...]:
        """Return the sessions of the readings from a time on, UTC milliseconds."""
        here = self.before[self.minutes[1] >= time]
        return tuple(np.unique(here[here >= 0]).tolist())

    def zones(self) -> list[int]:
        """Return the offsets from UTC in which the sessions' times are written, milliseconds, without zero."""
        found = (window.session.start.utcoffset() for window in self.survey.windows)
        return list(dict.fromkeys(round(zone.total_seconds() * 1000) for zone in found if zone))

    def elsewhere(self, offsets: Sequence[int], since: int | None = None) -> _Fit | None:
        """Return the first offset, of all or since a time, that nothing speaks against and that changes sessions."""
        here = self.fit(0).inside
        for offset in offsets:
            found = self.fit(offset, since)
            if found.changed and found.inside >= here - _LOST and self.keeps(offset, since):
                return found
        return None

    def better(self) -> _Fit | None:
        """Return the offset that puts readings which lie outside all sessions into them, and no other one out."""
        here = self.fit(0)
        if here.rows - here.within < max(_MANY, _OUTSIDE * here.rows):
            return None
        fits = [self.fit(offset) for offset in dict.fromkeys([*self.zones(), *_HOURS]) if self.keeps(offset)]
        best = max(fits, key=lambda one: one.inside, default=None)
        return best if best is not None and best.inside >= _FITS else None

    def held_by_clock(self) -> _Fit | None:
        """Return the offset to which all readings agree, those outside all sessions and those within; None for chance.

        The clocks at the site, or UTC in their place, are what a controller keeps: such an offset speaks for itself.
        Of others, one among all whole hours has to be left. It has to leave every reading in its session, or none of
        those that are within says anything of it.
        """
        here = self.fit(0)
        held = here.rows - here.within
        if not here.within or held < max(_MANY, _PART_HELD * here.rows):
            return None
        tried = dict.fromkeys([*self._at_site, *_HOURS])
        fits = [
            fit for fit in map(self.fit, tried) if fit.inside >= _FITS and not fit.changed and self.keeps(fit.offset)
        ]
        likely = [fit for fit in fits if fit.offset in self._at_site]
        if likely:
            return max(likely, key=lambda fit: fit.inside)
        return fits[0] if len(fits) == 1 else None

    @cached_property
    def _at_site(self) -> tuple[int, ...]:
        """Offsets, milliseconds, between the zone that times are read by and the clocks that may have written them.

        Those are UTC, the clock of the sessions and the legal times by the sun at the site.
        """
        kind, area = clock(self.export.points.time_zone, None).kind, self.survey.first_pass.area
        clocks = [0, *self.zones()]
        if area is not None:
            sun = area.centre[0] / _UNDER_ONE_HOUR
            clocks += [round(hours * HOUR) for hours in _LEGAL_HOURS if sun + _LEGAL[0] <= hours <= sun + _LEGAL[1]]
        read: set[int] = {0}
        if self.export.bare_time is not None and kind not in (None, 0):
            times = self.minutes[1]
            read = {minutes_east(kind, moment(int(time))) * MINUTE for time in (times.min(), times.max())}
        return tuple(dict.fromkeys(ours - theirs for ours in sorted(read) for theirs in clocks if ours != theirs))

    def pause(self, offset: int) -> int:
        """Return the shortest time between readings of two sessions that follow one another, with times moved so.

        Milliseconds, to the minute; 0 where none follows another.
        """
        bases, minute, _ = self.minutes
        session = self.index.attach(minute + offset, bases)
        base = np.asarray(bases.dictionary_encode().indices.fill_null(-1))
        within = session >= 0
        follows = (np.diff(session[within]) != 0) & (np.diff(base[within]) == 0)
        return int(np.diff(minute[within])[follows].min()) if follows.any() else 0

    def after(self, offset: int) -> tuple[int, ...]:
        """Return the sessions of the readings with times moved by an offset."""
        found = self.index.attach(self.minutes[1] + offset, self.minutes[0])
        return tuple(np.unique(found[found >= 0]).tolist())


@dataclass(frozen=True)
class ClockFinding:
    """What is said of an export's clock: a note, or a doubt where the sessions of readings may be wrong.

    ``sessions`` are those that may be, None for all that the export has readings of. ``holds`` is whether it is what
    holds readings back outside all sessions.
    """

    export: int
    file: str
    line: int
    what: str
    doubt: bool
    sessions: tuple[int, ...] | None = None
    holds: bool = False


def clock_notes(found: Sequence[ClockFinding]) -> list[str]:
    """Return in words what is odd about the clocks, and puts nothing in doubt."""
    notes = [told for told in found if not told.doubt]
    return [f"{told.file}:{told.line}: {told.what}" if told.line else f"{told.file}: {told.what}" for told in notes]


def clock_doubts(survey: Survey, found: Sequence[ClockFinding]) -> list[Doubtful]:
    """Return a doubt for each export whose readings may belong to other sessions, and so to other bases."""
    return [
        Doubtful(Doubt.TIME_ZONE, told.what, _sessions(survey, told), told.file, told.line)
        for told in found
        if told.doubt
    ]


def _sessions(survey: Survey, told: ClockFinding) -> tuple[int, ...]:
    if told.sessions is not None:
        return told.sessions
    return tuple(np.flatnonzero(survey.first_pass.files[told.export].sessions).tolist())


def clock_findings(survey: Survey) -> Iterator[ClockFinding]:
    """Yield what is odd about the clock of each export: some thirty offsets are tried on it, so this is asked once."""
    held, held_exports = _held_by_clock(survey)
    yield from held
    for number in range(len(survey.exports)):
        of = _Clock(survey, number, survey.sieve.index)
        headed = headed_otherwise(of.export, of.minutes[1])
        yield from _unstated(of, headed)
        yield from _headed(of, headed)
        yield from _disagreeing(of)
        if number not in held_exports:
            yield from _better(of)
        yield from _unchanged(of)
        yield from _not_turned_back(of)
    for astray, what in order_words(survey):
        doubt = bool(astray.doubted)
        file = survey.exports[astray.export].shown
        yield ClockFinding(astray.export, file, astray.row, what, doubt, astray.doubted if doubt else None)


def _held_by_clock(survey: Survey) -> tuple[list[ClockFinding], set[int]]:
    """Say of which exports a clock holds readings back; return their numbers as well.

    Where all with readings outside agree, that is one finding: each of many small files has too few to say it.
    """
    clocks = [_Clock(survey, number, survey.sieve.index) for number in range(len(survey.exports))]
    some = [of.number for of in clocks if (here := of.fit(0)).within < here.rows]
    every = [_Clock(survey, some[0], survey.sieve.index, tuple(some[1:]))] if len(some) > 1 else []
    for tried in (every, [clocks[number] for number in some]):
        found = [(of, fit) for of in tried if (fit := of.held_by_clock()) is not None]
        if found:
            return [_said_of(*one) for one in found], {n for of, _ in found for n in (of.number, *of.others)}
    return [], set()


def _said_of(of: _Clock, fit: _Fit) -> ClockFinding:
    numbers, held = (of.number, *of.others), fit.rows - of.fit(0).within
    exports = [of.survey.exports[number] for number in numbers]
    part = f"all {fit.rows:,}" if fit.within == fit.rows else f"{fit.within:,} of them"
    where = f" of {listed([one.shown for one in exports])}" if of.others else ""
    what = (
        f"{held:,} of {counted(fit.rows, 'reading')}{where} {plural(held, 'is', 'are')} held back outside all sessions;"
        f" with times {offset_words(fit.offset)} {part} would be inside:"
        f" {advice(fit.offset, zoned=all(one.bare_time is None for one in exports))}"
    )
    return ClockFinding(of.number, "" if of.others else of.export.shown, 0, what, True, of.after(fit.offset), True)


def _unstated(of: _Clock, headed: Headed | None) -> Iterator[ClockFinding]:
    """Say that the times of an export have no zone at all, not even by their heading."""
    if of.survey.prepared.loaded.stated("points", of.export.block, "time_zone"):
        return
    if of.export.bare_time is None or headed is not None or states_utc(of.export):
        return
    line, text = of.export.bare_time
    what = (
        f'the time "{text}" has no offset from UTC and the job states no time_zone, so all times are read as UTC: write'
        ' time_zone = "UTC" if that is right'
    )
    other = of.elsewhere([*of.zones(), *(-zone for zone in of.zones()), *_HOURS])
    yield _stated(of, what, other, line)


def _headed(of: _Clock, headed: Headed | None) -> Iterator[ClockFinding]:
    """Say that the heading of an export's times says another clock than they are read by."""
    if headed is None:
        return
    other = of.elsewhere(headed.offsets or [*of.zones(), *(-zone for zone in of.zones()), *_HOURS])
    if of.survey.prepared.loaded.stated("points", of.export.block, "time_zone"):
        read = f'they are read with time_zone = "{of.export.points.time_zone}": one of the two may be wrong'
    else:
        fix = "" if headed.zone is None else f'; write time_zone = "{headed.zone}" if the heading is right'
        read = f"the job states no time_zone, so they are read as UTC{fix}"
    what = f'the heading "{headed.heading}" states that times are {headed.stated}, but {read}'
    yield _stated(of, what, other)


def _disagreeing(of: _Clock) -> Iterator[ClockFinding]:
    """Say that the sessions are written in another offset from UTC than the export's zone has at the time.

    UTC itself contradicts no zone: whoever writes it may well mean it. So that is told where the zone's own offset
    fits too and gives other sessions, and is no doubt; and not where work paused when the sessions as they are follow
    one another, and less or not at all when they would.
    """
    zone = clock(of.export.points.time_zone, None).kind
    if zone in (None, 0) or of.export.bare_time is None:
        return
    counts = of.survey.first_pass.files[of.number].sessions
    fits = cache(lambda off: of.elsewhere([off * MINUTE]))
    for window in of.survey.windows:
        start = window.session.start
        written = start.utcoffset()
        own = minutes_east(zone, start)
        if not counts[window.index] or written is None or round(written.total_seconds() / 60) == own:
            continue
        off = own - round(written.total_seconds() / 60)
        other = fits(off)
        if not written:
            if other is not None and of.pause(0) <= _LONGER * of.pause(other.offset):
                yield _written_in_utc(of, window.session.name, own, other)
                return
            continue
        what = (
            f'the export is read with time_zone "{of.export.points.time_zone}", {_east(own)} on that day, and session'
            f" {window.session.name} is written in {_east(own - off)}: one of the two may be wrong"
        )
        yield _stated(of, what, other)
        return


def _written_in_utc(of: _Clock, session: str, own: int, other: _Fit) -> ClockFinding:
    what = (
        f'session {session} is written in UTC, and the export is read with time_zone "{of.export.points.time_zone}",'
        f" {_east(own)} on that day{_moves(other)}: if the session's times are of that clock too, write them with"
        f" {_east(own)[3:]}"
    )
    return ClockFinding(of.number, of.export.shown, 0, what, False)


def _better(of: _Clock) -> Iterator[ClockFinding]:
    """Say that readings would lie in sessions with times of another hour, unless that is told of all exports."""
    found = of.better()
    if found is None or (not found.changed and of.survey.clock_offset is not None):
        return
    held = 1.0 - of.fit(0).inside
    what = (
        f"{held:.0%} of its readings are outside all sessions; with times {offset_words(found.offset)}"
        f" {found.inside:.0%} would be inside: check time_zone of the block, and the sessions' times"
    )
    yield ClockFinding(
        of.number, of.export.shown, 0, what + (_moves(found) if found.changed else ""), found.changed > 0
    )


def _unchanged(of: _Clock) -> Iterator[ClockFinding]:
    """Say that an export has times that its zone does not have: whatever wrote them is not a clock of the zone.

    In doubt are the sessions of its readings after the change. One such time far from the rows beside it is a slip.
    """
    changes = of.survey.first_pass.claims[of.number].changes
    if changes.skipped is None:
        return
    log, zone = of.survey.first_pass.files[of.number], of.export.points.time_zone
    held = log.held.get(Reason.AMBIGUOUS_TIME)
    line = held.row if held is not None and held.count == changes.never else 0
    never_there = (
        f"{counted(changes.never, 'time does', 'times do')} not exist in {zone}, where the clocks go forward, such as"
        f' "{changes.first}"'
    )
    if changes.never == 1 and not changes.runs_on:
        what = f"{never_there}: no row beside it is near in time, so it seems mistyped; correct it"
        yield ClockFinding(of.number, of.export.shown, line, what, False)
        return
    what = (
        f"{never_there}: the clock of this file did not follow the zone. If the controller stayed on the earlier time,"
        f" times after the change are read {changes.skipped.by // MINUTE} minutes early. For the block of this file,"
        f' write the clock that the controller kept: time_zone = "{_east(changes.skipped.before // MINUTE)[3:]}";'
        " if only a time is mistyped, correct it"
    )
    after = of.since(of.change(changes.skipped))
    yield ClockFinding(of.number, of.export.shown, line, what, bool(after), after)
    yield from _alike(of, changes.skipped)


def _alike(of: _Clock, change: ClockChange) -> Iterator[ClockFinding]:
    """Say of exports that begin after the change that they may be of the clock which was not turned.

    Those of its block, of the days that follow, at no time at which that clock wrote its own, whose readings would
    belong to other sessions by it.
    """
    begins = of.change(change)
    for number, export in enumerate(of.survey.exports):
        other = _Clock(of.survey, number, of.index)
        minute = other.minutes[1]
        if number == of.number or export.block != of.export.block or export.bare_time is None or not len(minute):
            continue
        own = of.minutes[1][of.minutes[1] >= begins]
        apart = not len(own) or own.max() < minute.min() or minute.max() < own.min()
        later = begins <= minute.min() and minute.max() < begins + _SAME_CLOCK
        if not apart or not later or (fit := other.elsewhere([change.by])) is None:
            continue
        what = (
            f"{of.export.shown}, in the same block, was recorded on a clock that did not change with"
            f" {export.points.time_zone}: this file may be too{_moves(fit)}. For the block of both, write the clock"
            f' that the controller kept: time_zone = "{_east(change.before // MINUTE)[3:]}"'
        )
        yield ClockFinding(number, export.shown, 0, what, True)


def _not_turned_back(of: _Clock) -> Iterator[ClockFinding]:
    """Say that times run once through the hour that comes twice, where those after it may belong to other sessions."""
    changes = of.survey.first_pass.claims[of.number].changes
    if changes.once is None or changes.turned:
        return
    begins = of.change(changes.once)
    fit = of.elsewhere([changes.once.by], begins)
    after = of.since(begins)
    if fit is None or not after:
        return
    zone = of.export.points.time_zone
    what = (
        f"clocks in {zone} went back during this file, but its times pass through the repeated hour only once: if the"
        f" controller stayed on the earlier time, later times are read {-changes.once.by // MINUTE} minutes late"
        f"{_moves(fit)}. If it did, write for the block of this file"
        f' time_zone = "{_east(changes.once.before // MINUTE)[3:]}"'
    )
    yield ClockFinding(of.number, of.export.shown, 0, what, True, after)


def _stated(of: _Clock, what: str, other: _Fit | None, line: int = 0) -> ClockFinding:
    """Return what is said of a clock that the job states, a doubt where another offset, ``other``, fits too."""
    moves = "" if other is None else _moves(other)
    return ClockFinding(of.number, of.export.shown, line, f"{what}{moves}", other is not None)


def _moves(fit: _Fit) -> str:
    return (
        f"; with times {offset_words(fit.offset)} all occupations would stay in their sessions, and "
        f"{counted(fit.changed, 'reading')} would belong to another session and base"
    )


def _east(minutes: int) -> str:
    return f"UTC{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
