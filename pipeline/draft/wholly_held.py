"""What is held back as a whole: a file, a session or a calendar day of which no point is issued."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.draft.second_pass import Drafted, within
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.tables import milliseconds
from pipeline.words import REASONS, Whole

_MILLISECOND = timedelta(milliseconds=1)
_DAY = timedelta(days=1) // _MILLISECOND
_EPOCH = date(1970, 1, 1)
#: Classes of a row, before those of the reasons: a point, an occupation of a mark.
_POINT, _ON_MARK, _HELD = 0, 1, 2
_LOOSE = _HELD + len(REASONS)
_CLASSES = _LOOSE + 1
#: Numbers of units that span less are counted in one table.
_CLOSE = 4096


@dataclass
class WhollyHeld:
    """Counts, while the second pass runs, what became of the rows of each file, session and calendar day.

    Days are those of the clock in which the job states the start of its first session. Rows without a session or
    without a time count for no session or day.

    Args:
        survey: the job before any shift.
        candidates: numbers of the rows that may be occupations of marks.
        counts: per unit its rows by class, and last those that are held back and are no candidates.
    """

    survey: Survey
    candidates: Integers
    counts: dict[Whole, dict[int, Integers]] = field(default_factory=lambda: {whole: {} for whole in Whole})

    @classmethod
    def of(cls, survey: Survey) -> "WhollyHeld":
        """Return one that has counted nothing."""
        return cls(survey, np.asarray(survey.first_pass.candidates.column("number"), np.int64))

    def add(self, drafted: Drafted) -> None:
        """Count one batch."""
        held = drafted.held.astype(np.int64)
        what = np.where(held > 0, held + (_HELD - 1), np.where(drafted.on_mark, _ON_MARK, _POINT))
        loose = (held > 0) & ~within(self.candidates, drafted.start, len(held))
        file = np.full(len(held), self.survey.exports.index(drafted.export))
        timed = np.asarray(drafted.batch.column("time").is_valid().to_numpy(zero_copy_only=False))
        day = (milliseconds(drafted.batch) + self._offset // _MILLISECOND) // _DAY
        self._count(Whole.FILE, file, what, loose)
        here = drafted.session >= 0
        self._count(Whole.SESSION, drafted.session[here].astype(np.int64), what[here], loose[here])
        self._count(Whole.DAY, day[timed], what[timed], loose[timed])

    def _count(self, whole: Whole, unit: Integers, what: Integers, loose: Flags) -> None:
        units, at = _told_apart(unit)
        found = np.bincount(at * _CLASSES + what, minlength=len(units) * _CLASSES).reshape(-1, _CLASSES)
        found[:, _LOOSE] = np.bincount(at[loose], minlength=len(units))
        known = self.counts[whole]
        for place in np.flatnonzero(found.any(axis=1)).tolist():
            number = int(units[place])
            known[number] = known[number] + found[place] if number in known else found[place]

    def record(self) -> list[record_types.WhollyHeld]:
        """Return the record's ``wholly_held_back``: files in the job's order, then sessions, then days.

        An occupation of a mark is not held back, but where nothing else of a unit is left it delivers nothing either.
        Of a file without rows nothing is issued likewise.
        """
        return [
            {
                "kind": str(whole),
                "name": self._name(whole, number),
                "rows": int(counts[:_LOOSE].sum()),
                "on_marks": int(counts[_ON_MARK]),
                "held_back": int(counts[_HELD:_LOOSE].sum()),
                "by_reason": {str(r): int(n) for r, n in zip(REASONS, counts[_HELD:_LOOSE], strict=True) if n},
            }
            for whole, number, counts in self._held()
        ]

    def _held(self) -> Iterator[tuple[Whole, int, Integers]]:
        empty = {number: np.zeros(_CLASSES, np.int64) for number in range(len(self.survey.exports))}
        for whole, units in {**self.counts, Whole.FILE: {**empty, **self.counts[Whole.FILE]}}.items():
            for number, counts in sorted(units.items()):
                held = counts[_HELD:_LOOSE].any() and (counts[_LOOSE] or not counts[_ON_MARK])
                if not counts.any() or (held and not counts[_POINT]):
                    yield whole, number, counts

    def _name(self, whole: Whole, number: int) -> str:
        if whole is Whole.SESSION:
            return self.survey.windows[number].session.name
        if whole is Whole.DAY:
            return f"{_EPOCH + timedelta(days=number)} ({_zone(self._offset)})"
        return self.survey.exports[number].shown

    @property
    def _offset(self) -> timedelta:
        windows = self.survey.windows
        return (windows[0].session.start.utcoffset() if windows else None) or timedelta(0)


def _told_apart(unit: Integers) -> tuple[Integers, Integers]:
    """Return units and, per row, the place of its unit among them; units that lie close together need no sorting."""
    if not len(unit):
        return unit, unit
    first, last = int(unit.min()), int(unit.max())
    if last - first < _CLOSE:
        return np.arange(first, last + 1), unit - first
    return np.unique(unit, return_inverse=True)


def _zone(offset: timedelta) -> str:
    """Return an offset from UTC as text."""
    minutes = offset // timedelta(minutes=1)
    sign, minutes = "-" if minutes < 0 else "+", abs(minutes)
    return f"UTC{sign}{minutes // 60:02d}:{minutes % 60:02d}" if minutes else "UTC"
