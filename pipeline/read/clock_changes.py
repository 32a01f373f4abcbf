"""Detects from the times of a file whether its clock changed with its zone.

A time that does not exist was shown by no clock of the zone: whatever showed it stayed on the time before the change,
or belongs to another zone. One such time is enough where it runs on from the row before it, or to the one behind it. It
falls into one hour of the year, where a slip of typing lands by a rare chance only, hours away from the rows beside it,
while a clock that stood still lands there whenever anybody works through that hour. Midnight to the millisecond is no
time of a clock but what programs write where there is a date alone.

In the hour that comes twice a clock that is turned goes back; one that runs through it once may not have been turned.
"""

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import DAY, HOUR

#: Milliseconds within which a row runs on from another. Common practice, no source.
_RUNS_ON = 2 * HOUR


class ClockChange(Struct, frozen=True):
    """A change of a zone's clocks: from which offset from UTC, by how much, and between which times it was.

    All in milliseconds, of which ``since`` and ``until`` are UTC; below zero ``by`` is a change backwards.
    """

    before: int
    by: int
    since: int = 0
    until: int = 0


class ClockChanges(Struct):
    """What one file shows.

    ``never`` counts its times that do not exist, ``first`` is the first of them as it is written and ``skipped`` the
    earliest change that one lies in; ``runs_on`` is whether other rows beside one are as near as those of a clock are.
    ``once`` is a change backwards, where times run once through the hour that comes twice, ``turned`` whether times
    there go back, as those of a clock that was turned.
    """

    never: int = 0
    first: str = ""
    skipped: ClockChange | None = None
    runs_on: bool = False
    once: ClockChange | None = None
    turned: bool = False

    def add(self, cells: pa.Array, local: Integers, naive: Flags, steps: Integers) -> None:
        """Take the times of a batch: (n,) what the clock shows, where without an offset, (n, 2) offsets before, after.

        All are milliseconds; the offsets are alike but for times that do not exist or come twice.
        """
        by = steps[:, 1] - steps[:, 0]
        if not by.any():
            return
        never, twice = naive & (by > 0) & (local % DAY != 0), naive & (by < 0)
        shown = np.flatnonzero(naive)
        if never.any():
            self.never += int(never.sum())
            self.first = self.first or str(cells[int(np.argmax(never))].as_py())
            self.skipped = _earlier(
                self.skipped, _change(local, steps, int(np.flatnonzero(never)[_first(local[never])]))
            )
            self.runs_on |= bool(_beside(local[shown], never[shown]).any())
        if twice.any():
            self._back(local[shown], twice[shown])
            if _beside(local[shown], twice[shown]).any():
                self.once = _earlier(self.once, _change(local, steps, int(np.flatnonzero(twice)[_first(local[twice])])))

    def _back(self, local: Integers, twice: Flags) -> None:
        """Take up whether times go back where they come twice, or next to it."""
        steps = np.diff(local)
        there = twice[1:] | twice[:-1]
        self.turned |= bool((there & (steps < 0) & (steps >= -_RUNS_ON)).any())

    def join(self, other: "ClockChanges") -> None:
        """Take over what was found elsewhere."""
        self.never += other.never
        self.first = self.first or other.first
        self.skipped = _earlier(self.skipped, other.skipped)
        self.once = _earlier(self.once, other.once)
        self.runs_on |= other.runs_on
        self.turned |= other.turned


def _first(local: Integers) -> int:
    return int(np.argmin(local))


def _change(local: Integers, steps: Integers, row: int) -> ClockChange:
    """Return the change that a time lies in: read by the offset before it and by the other it is on its two sides."""
    before, after = (int(step) for step in steps[row])
    since, until = sorted((int(local[row]) - before, int(local[row]) - after))
    return ClockChange(before, after - before, since, until)


def _earlier(one: ClockChange | None, other: ClockChange | None) -> ClockChange | None:
    return min((each for each in (one, other) if each is not None), key=lambda each: each.since, default=None)


def _beside(local: Integers, chosen: Flags) -> Flags:
    """Return (n,) of which chosen times the row before or behind is near, in the order of the file."""
    near = np.abs(np.diff(local)) <= _RUNS_ON
    return np.asarray(chosen & (np.append(near, False) | np.append(False, near)), bool)
