"""Clocks that may be off for a whole export: no zone stated, zones that disagree, a heading that says another, rows
that fit at other hours, or that are out of the order of their file.

Times that are off by whole hours leave the proof as it is where they stay in their sessions, as occupations move along.
Where some would then belong to another session, and so to another base, they take it away; likewise where it is their
clock that has a good part of a file held back, with whatever checks are in it.
"""

from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np
from msgspec import Struct

from pipeline.clock import DAY, MINUTE
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.export_clock import ExportClock, OffsetFit
from pipeline.examine.headed_clocks import Headed, headed_otherwise, minutes_east, states_utc
from pipeline.examine.row_order_words import order_words
from pipeline.intake.clock_offset import advice, offset_words
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.read.clock_changes import ClockChange
from pipeline.words import Doubt, Reason, counted, plural

#: Milliseconds for which a controller's clock is taken to stay as it was set. Common practice, no source.
_SAME_CLOCK = 8 * DAY
#: How many times longer a pause between sessions has to be than another one to speak for them.
_LONGER = 1.5


class ClockFinding(Struct, frozen=True):
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
    notes = [one for one in found if not one.doubt]
    return [f"{one.file}:{one.line}: {one.what}" if one.line else f"{one.file}: {one.what}" for one in notes]


def clock_doubts(survey: Survey, found: Sequence[ClockFinding]) -> list[Doubtful]:
    """Return a doubt for each export whose readings may belong to other sessions, and so to other bases."""
    return [
        Doubtful(Doubt.TIME_ZONE, finding.what, _sessions(survey, finding), finding.file, finding.line)
        for finding in found
        if finding.doubt
    ]


def _sessions(survey: Survey, finding: ClockFinding) -> tuple[int, ...]:
    if finding.sessions is not None:
        return finding.sessions
    return tuple(np.flatnonzero(survey.first_pass.files[finding.export].sessions).tolist())


def clock_findings(survey: Survey) -> Iterator[ClockFinding]:
    """Yield what is odd about the clock of each export: some thirty offsets are tried on it, so this is asked once."""
    held, held_exports = _held_by_clock(survey)
    yield from held
    for number in range(len(survey.exports)):
        clock = ExportClock(survey, number, survey.sieve.index)
        headed = headed_otherwise(clock.export, clock.minutes[1])
        yield from _unstated(clock, headed)
        yield from _headed(clock, headed)
        yield from _disagreeing(clock)
        if number not in held_exports:
            yield from _better(clock)
        yield from _unchanged(clock)
        yield from _not_turned_back(clock)
    for astray, what in order_words(survey):
        doubt = bool(astray.doubted)
        file = survey.exports[astray.export].shown
        yield ClockFinding(astray.export, file, astray.row, what, doubt, astray.doubted if doubt else None)


def _held_by_clock(survey: Survey) -> tuple[list[ClockFinding], set[int]]:
    """Say of which exports a clock holds readings back; return their numbers as well.

    Where all with readings outside agree, that is one finding: each of many small files has too few to say it.
    """
    clocks = [ExportClock(survey, number, survey.sieve.index) for number in range(len(survey.exports))]
    some = [clock.number for clock in clocks if (here := clock.fit(0)).within < here.rows]
    every = [ExportClock(survey, some[0], survey.sieve.index, tuple(some[1:]))] if len(some) > 1 else []
    for tried in (every, [clocks[number] for number in some]):
        found = [(clock, fit) for clock in tried if (fit := clock.held_by_clock()) is not None]
        if found:
            return [_said_of(*one) for one in found], {n for clock, _ in found for n in (clock.number, *clock.others)}
    return [], set()


def _said_of(clock: ExportClock, fit: OffsetFit) -> ClockFinding:
    numbers, held = (clock.number, *clock.others), fit.rows - clock.fit(0).within
    exports = [clock.survey.exports[number] for number in numbers]
    part = f"all {fit.rows:,}" if fit.within == fit.rows else f"{fit.within:,} of them"
    where = f" of {listed([one.shown for one in exports])}" if clock.others else ""
    what = (
        f"{held:,} of {counted(fit.rows, 'reading')}{where} {plural(held, 'is', 'are')} held back outside all sessions;"
        f" with times {offset_words(fit.offset)} {part} would be inside:"
        f" {advice(fit.offset, zoned=all(one.bare_time is None for one in exports))}"
    )
    return ClockFinding(
        clock.number, "" if clock.others else clock.export.shown, 0, what, True, clock.after(fit.offset), True
    )


def _unstated(clock: ExportClock, headed: Headed | None) -> Iterator[ClockFinding]:
    """Say that the times of an export have no zone at all, not even by their heading."""
    if clock.survey.prepared.loaded.stated("points", clock.export.block, "time_zone"):
        return
    if clock.export.bare_time is None or headed is not None or states_utc(clock.export):
        return
    line, text = clock.export.bare_time
    what = (
        f'the time "{text}" has no offset from UTC and the job states no time_zone, so all times are read as UTC: write'
        ' time_zone = "UTC" if that is right'
    )
    other = clock.elsewhere(clock.other_offsets())
    yield _stated(clock, what, other, line)


def _headed(clock: ExportClock, headed: Headed | None) -> Iterator[ClockFinding]:
    """Say that the heading of an export's times says another clock than they are read by."""
    if headed is None:
        return
    other = clock.elsewhere(headed.offsets or clock.other_offsets())
    if clock.survey.prepared.loaded.stated("points", clock.export.block, "time_zone"):
        read = f'they are read with time_zone = "{clock.export.points.time_zone}": one of the two may be wrong'
    else:
        fix = "" if headed.zone is None else f'; write time_zone = "{headed.zone}" if the heading is right'
        read = f"the job states no time_zone, so they are read as UTC{fix}"
    what = f'the heading "{headed.heading}" states that times are {headed.stated}, but {read}'
    yield _stated(clock, what, other)


def _disagreeing(clock: ExportClock) -> Iterator[ClockFinding]:
    """Say that the sessions are written in another offset from UTC than the export's zone has at the time.

    UTC itself contradicts no zone: whoever writes it may well mean it. So that is told where the zone's own offset
    fits too and gives other sessions, and is no doubt; and not where work paused when the sessions as they are follow
    one another, and less or not at all when they would.
    """
    zone = clock.zone
    if zone in (None, 0) or clock.export.bare_time is None:
        return
    counts = clock.survey.first_pass.files[clock.number].sessions
    fits = cache(lambda off: clock.elsewhere([off * MINUTE]))
    for window in clock.survey.windows:
        start = window.session.start
        written = start.utcoffset()
        own = minutes_east(zone, start)
        if not counts[window.index] or written is None or round(written.total_seconds() / 60) == own:
            continue
        off = own - round(written.total_seconds() / 60)
        other = fits(off)
        if not written:
            if other is not None and clock.pause(0) <= _LONGER * clock.pause(other.offset):
                yield _written_in_utc(clock, window.session.name, own, other)
                return
            continue
        what = (
            f'the export is read with time_zone "{clock.export.points.time_zone}", {_east(own)} on that day, and'
            f" session {window.session.name} is written in {_east(own - off)}: one of the two may be wrong"
        )
        yield _stated(clock, what, other)
        return


def _written_in_utc(clock: ExportClock, session: str, own: int, other: OffsetFit) -> ClockFinding:
    what = (
        f'session {session} is written in UTC, and the export is read with time_zone "{clock.export.points.time_zone}",'
        f" {_east(own)} on that day{_moves(other)}: if the session's times are of that clock too, write them with"
        f" {_east(own)[3:]}"
    )
    return ClockFinding(clock.number, clock.export.shown, 0, what, False)


def _better(clock: ExportClock) -> Iterator[ClockFinding]:
    """Say that readings would lie in sessions with times of another hour, unless that is told of all exports."""
    found = clock.better()
    if found is None or (not found.changed and clock.survey.clock_offset is not None):
        return
    held = 1.0 - clock.fit(0).inside
    what = (
        f"{held:.0%} of its readings are outside all sessions; with times {offset_words(found.offset)}"
        f" {found.inside:.0%} would be inside: check time_zone of the block, and the sessions' times"
    )
    yield ClockFinding(
        clock.number, clock.export.shown, 0, what + (_moves(found) if found.changed else ""), found.changed > 0
    )


def _unchanged(clock: ExportClock) -> Iterator[ClockFinding]:
    """Say that an export has times that its zone does not have: whatever wrote them is not a clock of the zone.

    In doubt are the sessions of its readings after the change. One such time far from the rows beside it is a slip.
    """
    changes = clock.survey.first_pass.claims[clock.number].changes
    if changes.skipped is None:
        return
    log, zone = clock.survey.first_pass.files[clock.number], clock.export.points.time_zone
    held = log.held.get(Reason.AMBIGUOUS_TIME)
    line = held.row if held is not None and held.count == changes.never else 0
    never_there = (
        f"{counted(changes.never, 'time does', 'times do')} not exist in {zone}, where the clocks go forward, such as"
        f' "{changes.first}"'
    )
    if changes.never == 1 and not changes.runs_on:
        what = f"{never_there}: no row beside it is near in time, so it seems mistyped; correct it"
        yield ClockFinding(clock.number, clock.export.shown, line, what, False)
        return
    what = (
        f"{never_there}: the clock of this file did not follow the zone. If the controller stayed on the earlier time,"
        f" times after the change are read {changes.skipped.by // MINUTE} minutes early. For the block of this file,"
        f' write the clock that the controller kept: time_zone = "{_east(changes.skipped.before // MINUTE)[3:]}";'
        " if only a time is mistyped, correct it"
    )
    after = clock.since(clock.change(changes.skipped))
    yield ClockFinding(clock.number, clock.export.shown, line, what, bool(after), after)
    yield from _alike(clock, changes.skipped)


def _alike(clock: ExportClock, change: ClockChange) -> Iterator[ClockFinding]:
    """Say of exports that begin after the change that they may be of the clock which was not turned.

    Those of its block, of the days that follow, at no time at which that clock wrote its own, whose readings would
    belong to other sessions by it.
    """
    begins = clock.change(change)
    for number, export in enumerate(clock.survey.exports):
        other = ExportClock(clock.survey, number, clock.index)
        minute = other.minutes[1]
        if number == clock.number or export.block != clock.export.block or export.bare_time is None or not len(minute):
            continue
        own = clock.minutes[1][clock.minutes[1] >= begins]
        apart = not len(own) or own.max() < minute.min() or minute.max() < own.min()
        later = begins <= minute.min() and minute.max() < begins + _SAME_CLOCK
        if not apart or not later or (fit := other.elsewhere([change.by])) is None:
            continue
        what = (
            f"{clock.export.shown}, in the same block, was recorded on a clock that did not change with"
            f" {export.points.time_zone}: this file may be too{_moves(fit)}. For the block of both, write the clock"
            f' that the controller kept: time_zone = "{_east(change.before // MINUTE)[3:]}"'
        )
        yield ClockFinding(number, export.shown, 0, what, True)


def _not_turned_back(clock: ExportClock) -> Iterator[ClockFinding]:
    """Say that times run once through the hour that comes twice, where those after it may belong to other sessions."""
    changes = clock.survey.first_pass.claims[clock.number].changes
    if changes.once is None or changes.turned:
        return
    begins = clock.change(changes.once)
    fit = clock.elsewhere([changes.once.by], begins)
    after = clock.since(begins)
    if fit is None or not after:
        return
    zone = clock.export.points.time_zone
    what = (
        f"clocks in {zone} went back during this file, but its times pass through the repeated hour only once: if the"
        f" controller stayed on the earlier time, later times are read {-changes.once.by // MINUTE} minutes late"
        f"{_moves(fit)}. If it did, write for the block of this file"
        f' time_zone = "{_east(changes.once.before // MINUTE)[3:]}"'
    )
    yield ClockFinding(clock.number, clock.export.shown, 0, what, True, after)


def _stated(clock: ExportClock, what: str, other: OffsetFit | None, line: int = 0) -> ClockFinding:
    """Return what is said of a clock that the job states, a doubt where another offset, ``other``, fits too."""
    moves = "" if other is None else _moves(other)
    return ClockFinding(clock.number, clock.export.shown, line, f"{what}{moves}", other is not None)


def _moves(fit: OffsetFit) -> str:
    return (
        f"; with times {offset_words(fit.offset)} all occupations would stay in their sessions, and "
        f"{counted(fit.changed, 'reading')} would belong to another session and base"
    )


def _east(minutes: int) -> str:
    return f"UTC{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
