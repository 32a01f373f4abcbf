"""Samples pairs of readings of one moment where not all can be held; the same sample on every run."""

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Flags, Integers

#: Pairs of two exports that are held at the most; beyond, half of the moments are left out, and so on.
MOST = 4_000
#: Draws moments: an odd number near 2^64 divided by the golden ratio, whose multiples are spread evenly.
_SPREAD = np.uint64(0x9E3779B97F4A7C15)


class Some(Struct):
    """Gathers pairs (p, 2) for every two exports; all pairs of a moment are held, or none."""

    held: dict[tuple[int, int], tuple[Integers, Integers, int]] = field(default_factory=dict)

    def add(self, pairs: Integers, later: Integers, earlier: Integers, time: Integers) -> None:
        """Take pairs (p, 2), the exports of both and their time (p,), milliseconds."""
        if not len(pairs):
            return
        most = int(max(later.max(), earlier.max())) + 1
        key = earlier.astype(np.int64) * most + later
        order = np.argsort(key, kind="stable")
        kinds, begins = np.unique(key[order], return_index=True)
        for kind, here in zip(kinds.tolist(), np.split(order, begins[1:]), strict=True):
            self._add(divmod(kind, most), pairs[here], time[here])

    def _add(self, exports: tuple[int, int], pairs: Integers, time: Integers) -> None:
        none = (np.zeros((0, 2), np.int64), np.zeros(0, np.int64), 0)
        before, times, halved = self.held.get(exports, none)
        which = _drawn(time, halved)
        pairs, time = np.concatenate([before, pairs[which]]), np.concatenate([times, time[which]])
        while len(pairs) > MOST and halved < 63:
            halved += 1
            which = _drawn(time, halved)
            pairs, time = pairs[which], time[which]
        self.held[exports] = (pairs, time, halved)

    def pairs(self) -> Integers:
        """Return (p, 2) the pairs that are held, in order."""
        every = np.concatenate([np.zeros((0, 2), np.int64), *(pairs for pairs, _, _ in self.held.values())])
        return np.unique(every, axis=0)


def _drawn(time: Integers, halved: int) -> Flags:
    found: Flags = (time.astype(np.uint64) * _SPREAD) < np.uint64((1 << (64 - halved)) - 1)
    return found
