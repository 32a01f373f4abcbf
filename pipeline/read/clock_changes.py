"""What the times of a file say of a clock that should have gone forward with its zone.

A time that does not exist was shown by no clock of the zone: whatever showed it stayed on the time before the change,
or belongs to another zone. One such time is enough. It falls into one hour of the year, where a slip of typing lands by
a rare chance only, while a clock that stood still lands there whenever anybody works through that hour. Midnight to the
millisecond is no time of a clock but what programs write where there is a date alone.
"""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags, Integers
from pipeline.clock import DAY


@dataclass(frozen=True)
class Change:
    """A change of a zone's clocks: from which offset from UTC, by how much; milliseconds."""

    before: int
    by: int


@dataclass
class ClockChanges:
    """What one file shows.

    ``never`` counts its times that do not exist, ``first`` is the first of them as it is written and ``skipped`` the
    change that it lies in.
    """

    never: int = 0
    first: str = ""
    skipped: Change | None = None

    def add(self, cells: pa.Array, local: Integers, naive: Flags, steps: Integers) -> None:
        """Take the times of a batch: (n,) what the clock shows, where without an offset, (n, 2) offsets before, after.

        All are milliseconds; the offsets are alike but for times that do not exist or come twice.
        """
        by = steps[:, 1] - steps[:, 0]
        never = naive & (by > 0) & (local % DAY != 0)
        if not never.any():
            return
        self.never += int(never.sum())
        if self.skipped is None:
            row = int(np.argmax(never))
            self.first = str(cells[row].as_py())
            before, after = (int(step) for step in steps[row])
            self.skipped = Change(before, after - before)

    def join(self, other: "ClockChanges") -> None:
        """Take over what was found elsewhere."""
        self.never += other.never
        self.first = self.first or other.first
        self.skipped = self.skipped or other.skipped
