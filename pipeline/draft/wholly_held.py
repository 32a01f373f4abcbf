"""Lists files, sessions and calendar days of which no point is issued."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.draft.second_pass import Drafted, Drafter, within
from pipeline.draft.standing_rows import Standing
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.occupations.signs import Wanted
from pipeline.tables import milliseconds
from pipeline.words import REASONS, HeldUnit, Reason, reason_code

_MILLISECOND = timedelta(milliseconds=1)
_DAY = timedelta(days=1) // _MILLISECOND
_EPOCH = date(1970, 1, 1)
#: Classes of a row, before those of the reasons: a point, an occupation of a mark.
_POINT, _ON_MARK, _HELD = 0, 1, 2
_LOOSE = _HELD + len(REASONS)
_CLASSES = _LOOSE + 1
_DUPLICATE = reason_code(Reason.DUPLICATE)
#: Columns of what is kept of a row that gives way, behind its number and whether it is loose; as `HeldUnit` has them.
_FILE, _DAYS, _BY_THE_SUN = 2, 4, 5
_NO_DAY = -(1 << 40)
#: Numbers of units that span less are counted in one table.
_CLOSE = 4096
#: Offsets from UTC that are further apart than this cannot both be those of the site's working days: no country's legal
#: time is further from the sun's (common practice, no source).
_LEGAL = timedelta(hours=4)
_UNDER_ONE_HOUR = 15.0  # degrees of longitude


@dataclass
class WhollyHeld:
    """Counts, while the second pass runs, what became of the rows of each file, session and calendar day.

    Days are those of the clock in which the job states the start of its first session. Where that cannot be the site's,
    as of a job in UTC far from Greenwich, one of its days is parts of two working days, and a working day that is lost
    whole would not show: those by the sun at the site count as well. Rows without a session or without a time count for
    no session or day. A row in whose place another is issued, as a copy of it or as the point measured again, is not
    lost: it counts as that one does, wherever that is.

    Args:
        survey: the job before any shift.
        occupations: numbers of the rows that say they are occupations of marks.
        counts: per unit its rows by class, and last those that are held back and are no occupations.
        by_the_sun: the same of the days at the site, where they are others, in parts: each with the day by the stated
            clock on which the part lies.
        standing: what stands in the place of rows held back as duplicates.
    """

    survey: Survey
    occupations: Integers
    standing: Standing
    counts: dict[HeldUnit, dict[int, Integers]] = field(default_factory=lambda: {unit: {} for unit in HeldUnit})
    by_the_sun: dict[tuple[int, int], Integers] = field(default_factory=dict)
    _giving_way: list[Integers] = field(default_factory=list)

    @classmethod
    def of(cls, drafter: Drafter) -> "WhollyHeld":
        """Return one that has counted nothing."""
        return cls(drafter.survey, _occupations(drafter.survey), Standing.of(drafter))

    def add(self, drafted: Drafted) -> None:
        """Count one batch."""
        self.standing.take(drafted)
        held = drafted.held.astype(np.int64)
        what = np.where(held > 0, held + (_HELD - 1), np.where(drafted.on_mark, _ON_MARK, _POINT))
        loose = (held > 0) & ~within(self.occupations, drafted.start, len(held))
        file = np.full(len(held), drafted.number)
        timed = np.asarray(drafted.batch.column("time").is_valid().to_numpy(zero_copy_only=False))
        self._give_way(drafted, loose, timed)
        _count(self.counts[HeldUnit.FILE], file, what, loose)
        here = drafted.session >= 0
        _count(self.counts[HeldUnit.SESSION], drafted.session[here].astype(np.int64), what[here], loose[here])
        times = milliseconds(drafted.batch)[timed]
        day = _days(times, self._stated)
        _count(self.counts[HeldUnit.DAY], day, what[timed], loose[timed])
        if self._sun is not None:
            by_the_sun = _days(times, self._sun)
            for stated in np.unique(day).tolist():
                part, found = day == stated, dict[int, Integers]()
                _count(found, by_the_sun[part], what[timed][part], loose[timed][part])
                for number, counts in found.items():
                    self.by_the_sun[number, stated] = self.by_the_sun.get((number, stated), 0) + counts

    def _give_way(self, drafted: Drafted, loose: Flags, timed: Flags) -> None:
        """Keep of each row that gives way its number, the units that it is of, and whether it is no occupation."""
        rows = self.standing.gives_way(drafted.start, len(loose))
        rows = rows[drafted.held[rows] == _DUPLICATE]
        if len(rows):
            times = milliseconds(drafted.batch)[rows]
            clocks = self._stated, self._stated if self._sun is None else self._sun
            days = [np.where(timed[rows], _days(times, clock), _NO_DAY) for clock in clocks]
            session, file = drafted.session[rows].astype(np.int64), np.full(len(rows), drafted.number)
            self._giving_way.append(np.column_stack([rows + drafted.start, loose[rows], file, session, *days]))

    @cached_property
    def _stand(self) -> Integers:
        """Those of the rows that give way for which another is issued; see `_give_way`."""
        rows = np.concatenate([np.zeros((0, _BY_THE_SUN + 1), np.int64), *self._giving_way])
        return rows[self.standing.elsewhere(rows[:, 0])]

    def _without_points(self, units: dict[int, Integers], column: int) -> Iterator[tuple[int, Integers]]:
        """Yield the units, ascending, of which no point is issued; ``column`` is where `_stand` has them.

        Nor are they lost whose rows are issued elsewhere: most of those that are held back and are no occupations.
        """
        for number, counts in sorted(units.items()):
            if not counts.any():
                yield number, counts
            elif counts[_HELD:_LOOSE].any() and not counts[_POINT]:
                points, on_marks = self._elsewhere(number, column)
                lost, on_marks = int(counts[_LOOSE]) - points, int(counts[_ON_MARK]) + on_marks
                if lost > points or not (counts[_LOOSE] or on_marks):
                    yield number, counts

    def _elsewhere(self, unit: int, column: int) -> tuple[int, int]:
        """Return how many rows of a unit are issued elsewhere that are no occupations, and how many that are."""
        if column == _FILE and unit in self.standing.copied:
            return 0, 0
        here = self._stand[self._stand[:, column] == unit]
        loose = int(here[:, _FILE - 1].sum())
        return loose, len(here) - loose

    def record(self) -> list[record_types.WhollyHeld]:
        """Return the record's ``wholly_held_back``: files in the job's order, then sessions, then days.

        An occupation of a mark is not held back, but where nothing else of a unit is left it delivers nothing either.
        Of a file without rows nothing is issued likewise.
        """
        return [
            {
                "kind": str(unit),
                "name": name,
                "rows": int(counts[:_LOOSE].sum()),
                "on_marks": int(counts[_ON_MARK]),
                "held_back": int(counts[_HELD:_LOOSE].sum()),
                "by_reason": {str(r): int(n) for r, n in zip(REASONS, counts[_HELD:_LOOSE], strict=True) if n},
            }
            for unit, name, counts in self._held()
        ]

    def _held(self) -> Iterator[tuple[HeldUnit, str, Integers]]:
        empty = {number: np.zeros(_CLASSES, np.int64) for number in range(len(self.survey.exports))}
        for column, unit in enumerate(self.counts, start=_FILE):
            units = {**empty, **self.counts[unit]} if unit is HeldUnit.FILE else self.counts[unit]
            without = self._without_points(units, column)
            yield from ((unit, self._name(unit, number), counts) for number, counts in without)
        told = {number for number, _ in self._without_points(self.counts[HeldUnit.DAY], _DAYS)}
        whole_days: dict[int, Integers] = {}
        untold = set()
        for (number, stated), counts in self.by_the_sun.items():
            whole_days[number] = whole_days.get(number, 0) + counts
            if counts[_HELD:_LOOSE].any() and stated not in told:
                untold.add(number)
        for number, counts in self._without_points(whole_days, _BY_THE_SUN):
            if number in untold:
                yield HeldUnit.DAY, _day(number, self._sun or timedelta(0), ", by the sun at the site"), counts

    def _name(self, unit: HeldUnit, number: int) -> str:
        if unit is HeldUnit.SESSION:
            return self.survey.windows[number].session.name
        if unit is HeldUnit.DAY:
            return _day(number, self._stated)
        return self.survey.exports[number].shown

    @property
    def _stated(self) -> timedelta:
        windows = self.survey.windows
        return (windows[0].session.start.utcoffset() if windows else None) or timedelta(0)

    @cached_property
    def _sun(self) -> timedelta | None:
        """The offset from UTC of the sun's time at the site in whole hours, where the stated clock cannot be its."""
        area = self.survey.first_pass.area
        if area is None:
            return None
        sun = timedelta(hours=round(area.centre[0] / _UNDER_ONE_HOUR))
        apart = abs(sun - self._stated) % timedelta(days=1)
        return sun if _LEGAL < apart < timedelta(days=1) - _LEGAL else None


def _occupations(survey: Survey) -> Integers:
    """Return the numbers of the readings that say they stand on a mark, ascending.

    A name that goes on behind a mark's says nothing: points are numbered from a station, `A1-1`, `A1-2`, beside A1.
    """
    sessions = [window.session for window in survey.windows]
    names = [one.point for session in sessions for one in (*session.ties, *session.checks)]
    wanted = Wanted.of([*names, *survey.prepared.mark_names], survey.job.checks.codes)
    found = [np.zeros(0, np.int64)]
    for batch in survey.first_pass.candidates.to_batches():
        found.append(np.asarray(batch.column("number"), np.int64)[wanted.signs(batch).candidate])
    return np.sort(np.concatenate(found))


def _days(times: Integers, offset: timedelta) -> Integers:
    """Return the days, counted from 1970-01-01, of UTC milliseconds (n,) by a clock so far from UTC."""
    return (times + offset // _MILLISECOND) // _DAY


def _count(known: dict[int, Integers], unit: Integers, what: Integers, loose: Flags) -> None:
    """Add to what is known of units the classes (n,) of their rows."""
    units, at = _told_apart(unit)
    found = np.bincount(at * _CLASSES + what, minlength=len(units) * _CLASSES).reshape(-1, _CLASSES)
    found[:, _LOOSE] = np.bincount(at[loose], minlength=len(units))
    for place in np.flatnonzero(found.any(axis=1)).tolist():
        number = int(units[place])
        known[number] = known[number] + found[place] if number in known else found[place]


def _told_apart(unit: Integers) -> tuple[Integers, Integers]:
    """Return units and, per row, the place of its unit among them; units that lie close together need no sorting."""
    if not len(unit):
        return unit, unit
    first, last = int(unit.min()), int(unit.max())
    if last - first < _CLOSE:
        return np.arange(first, last + 1), unit - first
    return np.unique(unit, return_inverse=True)


def _day(number: int, offset: timedelta, whose: str = "") -> str:
    """Return the date of a day, counted from 1970-01-01, and the clock that it is of, and whose that is."""
    return f"{_EPOCH + timedelta(days=number)} ({_zone(offset)}{whose})"


def _zone(offset: timedelta) -> str:
    """Return an offset from UTC as text."""
    minutes = offset // timedelta(minutes=1)
    sign, minutes = "-" if minutes < 0 else "+", abs(minutes)
    return f"UTC{sign}{minutes // 60:02d}:{minutes % 60:02d}" if minutes else "UTC"
