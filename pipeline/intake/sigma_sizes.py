"""How large the standard uncertainties are that an export states, by session: which stand far out from the others."""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers

#: Metres below which none stands out, and how many times the median of its session one does.
LEAST, _TIMES = 0.1, 10.0
#: Classes of size: fourth parts of a power of two, so that a fourth power has the number of its class as exponent.
_CLASSES, _ZERO = 160, 80
#: Readings of a session from which on there is a median, and of a batch up to about which all are counted for it.
_ENOUGH, _SOME = 5, 4096


class SigmaSizes(Struct):
    """How often which class of size is stated in plan and in height, of batches in which some are from `LEAST` on.

    ``counts`` (2, k) by session, of some of the readings; ``high`` are by session and both classes how many of all are
    from `LEAST` on, and the row of the first.
    """

    counts: dict[int, Integers] = field(default_factory=dict)
    high: dict[tuple[int, int, int], tuple[int, int]] = field(default_factory=dict)

    def take(self, plan: Floats, up: Floats, session: NDArray[np.int32], rows: Integers) -> None:
        """Take readings (n,): what they state in plan and in height [m], sessions and numbers in the file."""
        high = np.flatnonzero(np.fmax(plan, up) >= LEAST)
        if not len(high):
            return
        some = slice(None, None, 1 + len(rows) // _SOME)
        for number in np.unique(session[some]).tolist():
            mine = session[some] == number
            found = [np.bincount(_class(values[some][mine]), minlength=_CLASSES) for values in (plan, up)]
            self.counts[number] = self.counts.get(number, np.zeros((2, _CLASSES), np.int64)) + np.stack(found)
        kind = (session[high].astype(np.int64) * _CLASSES + _class(plan[high])) * _CLASSES + _class(up[high])
        for key, at, count in zip(*np.unique(kind, return_index=True, return_counts=True), strict=True):
            of = (int(key) // _CLASSES**2, int(key) // _CLASSES % _CLASSES, int(key) % _CLASSES)
            before, row = self.high.get(of, (0, int(rows[high[at]])))
            self.high[of] = (before + int(count), row)

    def far_out(self, least: float = LEAST) -> tuple[int, int]:
        """Return how many readings stand out, of ``least`` [m] or more, and the row of the first, 0 where none does."""
        found = list(self._far_out(least))
        return sum(count for count, _ in found), min((row for _, row in found), default=0)

    def _far_out(self, least: float) -> Iterator[tuple[int, int]]:
        limits: dict[int, list[int]] = {}
        for (session, plan, up), seen in self.high.items():
            if session not in limits:
                none = np.zeros((2, _CLASSES), np.int64)
                limits[session] = [_limit(counts, least) for counts in self.counts.get(session, none)]
            if plan >= limits[session][0] or up >= limits[session][1]:
                yield seen


def _class(values: Floats) -> Integers:
    """Return (n,) classes of sizes [m]; 0 where nothing is stated."""
    square = np.square(np.where(values > 0.0, values, 0.0))
    mantissa, exponent = np.frexp(square * square)
    return np.where(mantissa > 0.0, np.clip(exponent.astype(np.int64) + _ZERO, 1, _CLASSES - 1), 0)


def _limit(counts: Integers, least: float) -> int:
    """Return the class from which on sizes stand out, one beyond all where there is no median."""
    stated = counts[1:]
    if int(stated.sum()) < _ENOUGH:
        return _CLASSES
    median = 1 + int(np.searchsorted(np.cumsum(stated), 0.5 * stated.sum()))
    most = 2.0 ** ((median - _ZERO) / 4.0)
    lowest, times = _class(np.array([least, _TIMES * most]))
    return max(int(lowest), int(times) + 1)
