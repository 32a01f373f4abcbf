"""What is issued of points measured twice, as the second pass needs it."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.solve.correct import VALUES, Corrected


class MergedReadings(Struct, frozen=True):
    """What is issued of points measured twice, where that is not every reading.

    Args:
        gone: (k,) numbers, ascending, of readings that give way to another.
        by: (k,) number of the reading that stands for each.
        instead: (k,) in words, the reading that stands for each; ``why`` what it is to that.
        number: (m,) numbers, ascending, of readings that bear a mean.
        values: (m, 8) the mean's numbers, as `VALUES` names them.
        proof: (m,) code of the least proven of its readings.
        spread: (m, 2) metres, in plan and in height, that its readings lie apart from it at the most.
        aside: (h,) numbers, ascending, of readings held back for themselves that no name is told apart for.
        stands: (s, 2) number of an issued reading, and that of the one held back in whose place it has its name.
    """

    gone: Integers = field(default_factory=lambda: np.zeros(0, np.int64))
    by: Integers = field(default_factory=lambda: np.zeros(0, np.int64))
    instead: Sequence[str] = ()
    why: Sequence[str] = ()
    number: Integers = field(default_factory=lambda: np.zeros(0, np.int64))
    values: Floats = field(default_factory=lambda: np.zeros((0, len(VALUES))))
    proof: NDArray[np.uint8] = field(default_factory=lambda: np.zeros(0, np.uint8))
    spread: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    aside: Integers = field(default_factory=lambda: np.zeros(0, np.int64))
    stands: Integers = field(default_factory=lambda: np.zeros((0, 2), np.int64))

    def put_means(self, corrected: Corrected, start: int) -> tuple[Corrected, Integers, Integers]:
        """Return a batch's numbers with the means in them, at which of its rows (k,) those are, and which (k,)."""
        first, last = np.searchsorted(self.number, [start, start + len(corrected.easting)])
        which = np.arange(first, last)
        rows = self.number[which] - start
        if not len(rows):
            return corrected, rows, which
        numbers = np.column_stack([getattr(corrected, name) for name in VALUES])
        numbers[rows] = self.values[which]
        return Corrected(*numbers.T), rows, which

    def explain(self, number: int) -> str | None:
        """Return in words why a reading gives way; None where it does not."""
        at = int(np.searchsorted(self.gone, number))
        if at == len(self.gone) or self.gone[at] != number:
            return None
        return f"{self.why[at]} {self.instead[at]}"

    def mean(self, number: int) -> str | None:
        """Say of a reading that it bears a mean; None where it does not."""
        at = int(np.searchsorted(self.number, number))
        if at == len(self.number) or self.number[at] != number:
            return None
        plan, height = self.spread[at].tolist()
        return (
            f"issued as the mean with earlier readings of the point, which are {plan:.3f} m in plan and {height:.3f} m"
            " in height from it at most"
        )
