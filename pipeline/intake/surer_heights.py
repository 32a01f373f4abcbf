"""How many readings of an export state that their heights are more certain than their positions."""

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers

#: How many times larger than a height's the standard uncertainty of a position is before digits cannot make it so.
LARGER = 1.2


class SurerHeights(Struct):
    """Of readings that state both, how many have heights `LARGER` times more certain, and the row of the first.

    ``low`` and ``high`` (2,) are the least and the largest of what they state in plan and in height [m].
    """

    stated: int = 0
    surer: int = 0
    row: int = 0
    low: Floats = field(default_factory=lambda: np.full(2, np.inf))
    high: Floats = field(default_factory=lambda: np.full(2, -np.inf))

    def take(self, plan: Floats, up: Floats, rows: Integers) -> None:
        """Take readings (n,): what they state in plan and in height [m], and their numbers in the file."""
        both = (plan > 0.0) & (up > 0.0)
        if not both.any():
            return
        surer = np.flatnonzero(both & (plan >= LARGER * up))
        if len(surer) and not self.surer:
            self.row = int(rows[surer[0]])
        self.stated += int(np.count_nonzero(both))
        self.surer += len(surer)
        known = np.stack([plan[both], up[both]])
        self.low, self.high = np.minimum(self.low, known.min(axis=1)), np.maximum(self.high, known.max(axis=1))

    @property
    def measured(self) -> bool:
        """Whether both differ from reading to reading, as numbers that stand for none do not."""
        return bool((self.high > self.low).all())
