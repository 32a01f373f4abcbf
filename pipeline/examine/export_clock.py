"""The clock of an export: which sessions its readings belong to, as they are and with times by another offset."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from functools import cached_property

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Integers
from pipeline.clock import HOUR, MINUTE, moment
from pipeline.examine.headed_clocks import minutes_east
from pipeline.intake.named_points import named_points
from pipeline.intake.survey import Survey
from pipeline.read.clock_changes import ClockChange
from pipeline.read.exports import Export
from pipeline.read.times import clock
from pipeline.sessions.attach import SessionIndex
from pipeline.tables import milliseconds

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
#: The part of an export's readings that another hour has to put into sessions, and that it may put out of them.
_FITS, _LOST = 0.98, 0.02


class OffsetFit(Struct, frozen=True):
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
class ExportClock:
    """The clock of an export, and of ``others`` with it: when there are readings, and which sessions they belong to."""

    survey: Survey
    number: int
    index: SessionIndex
    others: tuple[int, ...] = ()

    @property
    def export(self) -> Export:
        """The export, the first one where there are others."""
        return self.survey.exports[self.number]

    @property
    def zone(self) -> tzinfo | int | None:
        """An IANA zone, minutes east of UTC, or None for the GPS time scale."""
        return clock(self.export.points.time_zone, None).kind

    @cached_property
    def minutes(self) -> tuple[pa.Array, Integers, Integers]:
        """(m,) base ids, middles of minutes, UTC milliseconds, and how many readings each has: base after base."""
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
        """(m,) the sessions that the readings of each minute belong to as they are, -1 for none."""
        bases, minute, _ = self.minutes
        return self.index.attach(minute, bases)

    def fit(self, offset: int, since: int | None = None) -> OffsetFit:
        """Return what an offset, in milliseconds, does to readings since a time, UTC milliseconds; None: to all."""
        bases, minute, count = self.minutes
        moved = offset if since is None else np.where(minute >= since, offset, 0)
        before, after = self.before, self.index.attach(minute + moved, bases) if offset else self.before
        inside = int(count[after >= 0].sum())
        changed = int(count[(before >= 0) & (after >= 0) & (before != after)].sum())
        return OffsetFit(offset, int(count.sum()), inside, changed)

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
        zone, low, high = self.zone, change.since, change.until
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

    def other_offsets(self) -> list[int]:
        """Return the offsets, milliseconds, of a clock that nobody states: the sessions', either way, and all hours."""
        return [*self.zones(), *(-zone for zone in self.zones()), *_HOURS]

    def elsewhere(self, offsets: Sequence[int], since: int | None = None) -> OffsetFit | None:
        """Return the first offset, of all or since a time, that nothing speaks against and that changes sessions."""
        here = self.fit(0).inside
        for offset in offsets:
            found = self.fit(offset, since)
            if found.changed and found.inside >= here - _LOST and self.keeps(offset, since):
                return found
        return None

    def better(self) -> OffsetFit | None:
        """Return the offset that puts readings which lie outside all sessions into them, and no other one out."""
        here = self.fit(0)
        if here.rows - here.within < max(_MANY, _OUTSIDE * here.rows):
            return None
        fits = [self.fit(offset) for offset in dict.fromkeys([*self.zones(), *_HOURS]) if self.keeps(offset)]
        best = max(fits, key=lambda one: one.inside, default=None)
        return best if best is not None and best.inside >= _FITS else None

    def held_by_clock(self) -> OffsetFit | None:
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
        zone, area = self.zone, self.survey.first_pass.area
        clocks = [0, *self.zones()]
        if area is not None:
            sun = area.centre[0] / _UNDER_ONE_HOUR
            clocks += [round(hours * HOUR) for hours in _LEGAL_HOURS if sun + _LEGAL[0] <= hours <= sun + _LEGAL[1]]
        read: set[int] = {0}
        if self.export.bare_time is not None and zone not in (None, 0):
            times = self.minutes[1]
            read = {minutes_east(zone, moment(int(time))) * MINUTE for time in (times.min(), times.max())}
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
