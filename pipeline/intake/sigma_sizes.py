"""How large the standard uncertainties are that an export states, by session: which stand far out from the others."""

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers

#: Metres below which none stands out, and how many times the median of its session one does.
LEAST, _TIMES = 0.1, 10.0
#: Metres in plan that no fixed solution states in so many readings in a row. Ours, no source.
COARSE, _IN_A_ROW = 0.15, 4
#: Classes of size: fourth parts of a power of two, so that a fourth power has the number of its class as exponent.
_CLASSES, _ZERO = 160, 80
#: Readings of a session from which on there is a median, and of a batch up to about which all are counted for it.
_ENOUGH, _SOME = 5, 4096


class SigmaSizes(Struct):
    """How often which class of size is stated in plan and in height, of batches in which some are from `LEAST` on.

    ``counts`` (2, k) by session, of some of the readings; ``high`` are by session and both classes how many of all are
    from `LEAST` on, and the row of the first; ``in_a_row`` likewise those in rows on end that are coarse in plan.
    """

    counts: dict[int, Integers] = field(default_factory=dict)
    high: dict[tuple[int, int, int], tuple[int, int]] = field(default_factory=dict)
    in_a_row: dict[tuple[int, int, int], tuple[int, int]] = field(default_factory=dict)

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
        _count(self.high, plan, up, session, rows, high)
        _count(self.in_a_row, plan, up, session, rows, _on_end(plan, session))

    def far_out(self, least: float = LEAST, part: float = 0.5) -> tuple[int, int]:
        """Return how many readings stand out, of ``least`` [m] or more, and the row of the first, 0 where none does.

        They do from ten times what this ``part`` of a session's readings state at the most.
        """
        return self._far_out(self.high, least, part)

    def far_out_in_a_row(self) -> tuple[int, int]:
        """Return the same of readings in rows on end that are `COARSE` in plan; none counts on into the next batch."""
        return self._far_out(self.in_a_row, COARSE, 0.5)

    def _far_out(self, high: dict[tuple[int, int, int], tuple[int, int]], least: float, part: float) -> tuple[int, int]:
        limits: dict[int, list[int]] = {}
        found = []
        for (session, plan, up), seen in high.items():
            if session not in limits:
                none = np.zeros((2, _CLASSES), np.int64)
                limits[session] = [_limit(counts, least, part) for counts in self.counts.get(session, none)]
            if plan >= limits[session][0] or up >= limits[session][1]:
                found.append(seen)
        return sum(count for count, _ in found), min((row for _, row in found), default=0)


def _count(
    into: dict[tuple[int, int, int], tuple[int, int]],
    plan: Floats,
    up: Floats,
    session: NDArray[np.int32],
    rows: Integers,
    which: Integers,
) -> None:
    """Count ``which`` (k,) of readings (n,) by session and both classes, and keep the row of each first one."""
    kind = (session[which].astype(np.int64) * _CLASSES + _class(plan[which])) * _CLASSES + _class(up[which])
    for key, at, count in zip(*np.unique(kind, return_index=True, return_counts=True), strict=True):
        of = (int(key) // _CLASSES**2, int(key) // _CLASSES % _CLASSES, int(key) % _CLASSES)
        before, row = into.get(of, (0, int(rows[which[at]])))
        into[of] = (before + int(count), row)


def _on_end(plan: Floats, session: NDArray[np.int32]) -> Integers:
    """Return which (k,) of readings (n,) are coarse in plan, as enough next to them in the same session are."""
    coarse = np.flatnonzero(plan >= COARSE)
    parts = np.split(coarse, np.flatnonzero((np.diff(coarse) > 1) | (np.diff(session[coarse]) != 0)) + 1)
    return np.concatenate([part for part in parts if len(part) >= _IN_A_ROW] or [coarse[:0]])


def _class(values: Floats) -> Integers:
    """Return (n,) classes of sizes [m]; 0 where nothing is stated."""
    square = np.square(np.where(values > 0.0, values, 0.0))
    mantissa, exponent = np.frexp(square * square)
    return np.where(mantissa > 0.0, np.clip(exponent.astype(np.int64) + _ZERO, 1, _CLASSES - 1), 0)


def _limit(counts: Integers, least: float, part: float) -> int:
    """Return the class from which on sizes stand out, one beyond all where there is no such part of them."""
    stated = counts[1:]
    if int(stated.sum()) < _ENOUGH:
        return _CLASSES
    quantile = 1 + int(np.searchsorted(np.cumsum(stated), part * stated.sum()))
    most = 2.0 ** ((quantile - _ZERO) / 4.0)
    lowest, times = _class(np.array([least, _TIMES * most]))
    return max(int(lowest), int(times) + 1)
