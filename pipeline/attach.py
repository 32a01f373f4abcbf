"""Each reading to its session, by time and, where sessions overlap, by base id. Nothing is dropped."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

OUTSIDE = -1
TWO = -2


def base_key(text: str | None) -> str | None:
    """Return a base id in the form in which two are compared: trimmed, upper and lower case alike, empty is none."""
    return (text or "").strip().casefold() or None


@dataclass(frozen=True)
class _Group:
    """The sessions of one base id, in the order of their starts; their intervals are disjoint."""

    key: str | None
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    sessions: NDArray[np.int32]

    def covering(self, times: NDArray[np.int64]) -> NDArray[np.int32]:
        """Return the session of this base that covers each time, or `OUTSIDE`."""
        at = np.searchsorted(self.starts, times, side="right") - 1
        inside = (at >= 0) & (times < self.ends[at])
        return np.where(inside, self.sessions[at], np.int32(OUTSIDE))


@dataclass(frozen=True)
class SessionIndex:
    """Sessions arranged for look-up. Build it with `index_sessions`."""

    groups: tuple[_Group, ...]

    def attach(self, times: NDArray[np.int64], bases: pa.Array) -> NDArray[np.int32]:
        """Return the session of each reading.

        Args:
            times: (n,) UTC milliseconds since 1970; must be valid times.
            bases: (n,) base ids as the export has them, null where there is none.

        Returns:
            (n,) index of the session, `OUTSIDE` where none covers the time for that base, or `TWO` where the reading
            has no base id and more than one session covers its time.
        """
        coded = pc.dictionary_encode(bases)
        keys = [base_key(text) for text in coded.dictionary.to_pylist()]
        codes = np.asarray(pc.fill_null(coded.indices, len(keys)))
        keys.append(None)
        unnamed = np.array([key is None for key in keys])[codes]
        found = np.full(len(times), OUTSIDE, np.int32)
        for group in self.groups:
            # A session without a base id takes every reading; a reading without one fits every session.
            fits = unnamed | (group.key is None) | np.array([key == group.key for key in keys])[codes]
            here = group.covering(times)
            hit = fits & (here >= 0)
            found = np.where(hit, np.where(found == OUTSIDE, here, np.int32(TWO)), found)
        return found


def index_sessions(
    starts: Sequence[int], ends: Sequence[int], bases: Sequence[str | None]
) -> SessionIndex:
    """Arrange sessions, given as half-open UTC millisecond intervals and base ids, for look-up.

    The caller has made sure that sessions of one base, or without a base id, overlap nothing that they could be
    taken for (`sessions.load_sessions` reports overlaps).
    """
    by_key: dict[str | None, list[int]] = {}
    for number, base in enumerate(bases):
        by_key.setdefault(base_key(base), []).append(number)
    groups = []
    for key, numbers in by_key.items():
        numbers.sort(key=lambda number: starts[number])
        groups.append(
            _Group(
                key,
                np.array([starts[n] for n in numbers], np.int64),
                np.array([ends[n] for n in numbers], np.int64),
                np.array(numbers, np.int32),
            )
        )
    return SessionIndex(tuple(groups))
