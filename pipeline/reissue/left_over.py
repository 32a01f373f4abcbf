"""Streams two row sequences and finds the rows that only one has; memory grows with the differences alone."""

from collections.abc import Iterable, Iterator

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.duplicates import mixed_with, occurring_again
from pipeline.duplicates.exact import Hashes

#: Rows that may wait for their like before it is looked for among all of them.
WAITING = 1 << 18
_NONE = np.zeros(0, np.uint64)


def left_over(one: Iterable[Hashes], other: Iterable[Hashes]) -> tuple[Integers, Integers]:
    """Return (k,) numbers, ascending, of the rows of each of two series that have no like in the other.

    Of several alike so many are left as the other has fewer. Rows that are alike and stand at about the same place are
    held no longer than until both have come past.

    Args:
        one, other: sums of their rows, in pieces; rows with one sum count as alike.
    """
    sides, came = (_Waiting(), _Waiting()), (iter(one), iter(other))
    more, room = [True, True], WAITING
    while any(more):
        turn = int(more[1] and (not more[0] or sides[1].taken < sides[0].taken))
        more[turn] = sides[turn].take(came[turn])
        _drop_in_step(*sides)
        if sum(map(len, sides)) > room:
            _drop_alike(*sides)
            room = 2 * sum(map(len, sides)) + WAITING  # each look takes as long as twice as many rows to come
    _drop_alike(*sides)
    return sides[0].numbers, sides[1].numbers


def ranked(sums: Hashes) -> Hashes:
    """Return sums that also tell which of those alike a row is: the first is the same as any other's first."""
    rank = np.zeros(len(sums), np.int64)
    several = _several(sums)
    if len(several):
        rows = np.flatnonzero(_among(sums, several))
        order = np.argsort(sums[rows], kind="stable")
        ordered, place = sums[rows][order], np.arange(len(rows))
        fresh = np.append(True, ordered[1:] != ordered[:-1])
        rank[rows[order]] = place - np.maximum.accumulate(np.where(fresh, place, 0))
    return mixed_with(sums, rank)


def _several(*sums: Hashes) -> Hashes:
    """Return, ascending, the sums that come more than once."""
    return occurring_again(sums, np.ones(sum(map(len, sums)), bool))


def _each(sums: Hashes) -> Hashes:
    """Return, ascending, the different sums."""
    ordered = np.sort(sums)
    found: Hashes = ordered[np.append(True, ordered[1:] != ordered[:-1])[: len(ordered)]]
    return found


def _among(sums: Hashes, some: Hashes) -> Flags:
    """Return (n,) which of the sums are among (k,) ``some``, which ascend."""
    if not len(some):
        return np.zeros(len(sums), bool)
    found: Flags = some[np.minimum(np.searchsorted(some, sums), len(some) - 1)] == sums
    return found


class _Waiting:
    """Rows of one series that have found no like yet, in their order; ``taken`` is how many came past."""

    def __init__(self) -> None:
        self.sums, self.numbers, self.taken = _NONE, np.zeros(0, np.int64), 0

    def __len__(self) -> int:
        return len(self.sums)

    def take(self, pieces: Iterator[Hashes]) -> bool:
        """Take the next piece; say whether there was one."""
        piece = next(pieces, None)
        if piece is None:
            return False
        self.sums = np.concatenate([self.sums, piece])
        self.numbers = np.concatenate([self.numbers, np.arange(self.taken, self.taken + len(piece))])
        self.taken += len(piece)
        return True

    def keep(self, which: Flags) -> None:
        """Let go of the rows where ``which`` (n,) does not hold."""
        self.sums, self.numbers = self.sums[which], self.numbers[which]


def _drop_in_step(one: _Waiting, other: _Waiting) -> None:
    """Let go of the rows that are alike and stand at the same place: nearly always all but those that changed."""
    both = min(len(one), len(other))
    unlike = one.sums[:both] != other.sums[:both]
    if unlike.all():
        return
    for side in (one, other):
        side.keep(np.append(unlike, np.ones(len(side) - both, bool)))


def _drop_alike(one: _Waiting, other: _Waiting) -> None:
    """Let go of the rows that have their like in the other."""
    if not len(one) or not len(other):
        return
    both = _several(_each(one.sums), _each(other.sums))
    if not len(both):
        return
    mine, its = (np.flatnonzero(_among(side.sums, both)) for side in (one, other))
    keys = ranked(one.sums[mine]), ranked(other.sums[its])
    _, *alike = np.intersect1d(*keys, assume_unique=True, return_indices=True)
    for side, rows, which in zip((one, other), (mine, its), alike, strict=True):
        left = np.ones(len(side), bool)
        left[rows[which]] = False
        side.keep(left)
