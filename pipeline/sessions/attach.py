"""Each reading to its session, by time and, where sessions overlap, by base id. Nothing is dropped."""

import re
from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Integers
from pipeline.letter_case import folded

OUTSIDE = -1
TWO = -2
#: Stands for every base id that no session has; none is empty.
_OTHER = ""


def base_key(text: str | None) -> str | None:
    """Return a base id in the form in which two are compared: trimmed, upper and lower case alike, empty is none."""
    return folded(text) or None


def spelled_alike(one: str | None, other: str | None) -> bool:
    """Tell whether two base ids differ in spelling only: in case, spaces, dashes, leading zeros, or a ``.0``."""
    first, second = spelling(one), spelling(other)
    return bool(first) and first == second


def spelling(text: str | None) -> str:
    """Return what is left of a base id where two that are spelled alike have the same; empty where nothing is."""
    key = re.sub(r"\.0+$", "", base_key(text) or "")
    return re.sub(r"(?<!\d)0+(?=\d)", "", re.sub(r"[\W_]", "", key))


class _Timeline(Struct, frozen=True):
    """Time cut where sessions start and end; each piece belongs to one session, to none, or to more than one.

    ``cuts`` (c,) are UTC milliseconds, ascending; ``labels`` (c + 1,) say whose the pieces are, half-open on the right.
    """

    cuts: Integers
    labels: NDArray[np.int32]

    @classmethod
    def of(cls, sessions: Sequence[tuple[int, int, int]]) -> "_Timeline":
        """Cut time at the (start, end, number) of some sessions."""
        events = sorted([(start, number, 1) for start, _, number in sessions] + [(end, n, 0) for _, end, n in sessions])
        cuts: list[int] = []
        labels: list[int] = [OUTSIDE]
        running: set[int] = set()
        for time, number, starts in events:
            if starts:
                running.add(number)
            else:
                running.discard(number)
            label = OUTSIDE if not running else TWO if len(running) > 1 else next(iter(running))
            if cuts and cuts[-1] == time:
                labels[-1] = label
            else:
                cuts.append(time)
                labels.append(label)
        return cls(np.array(cuts, np.int64), np.array(labels, np.int32))

    def at(self, times: Integers) -> NDArray[np.int32]:
        """Return (n,) session, `OUTSIDE` or `TWO` at (n,) times."""
        return self.labels[np.searchsorted(self.cuts, times, side="right")]


class SessionIndex(Struct, frozen=True):
    """Sessions arranged for look-up, a timeline for the sessions of each base id. Build it with `index_sessions`.

    ``any_base`` serves readings without a base id, ``other_base`` those whose base id no session has.
    """

    by_base: Mapping[str, _Timeline]
    any_base: _Timeline
    other_base: _Timeline

    def attach(self, times: Integers, bases: pa.Array) -> NDArray[np.int32]:
        """Return the session of each reading.

        A session without a base id takes every reading of its time; a reading without one fits every session.

        Args:
            times: (n,) UTC milliseconds since 1970.
            bases: (n,) base ids as the export has them, null where there is none.

        Returns:
            (n,) index of the session, `OUTSIDE` where none covers the time for that base, or `TWO` where the reading
            has no base id and more than one session covers its time.
        """
        coded = pc.dictionary_encode(bases)
        numbers: dict[str | None, int] = {}  # of what is looked up together: ids that no session has are under one
        keys = (base_key(text) for text in coded.dictionary.to_pylist())
        each = [key if key is None or key in self.by_base else _OTHER for key in keys]
        number = np.array([numbers.setdefault(key, len(numbers)) for key in (*each, None)], np.int32)
        codes = number[np.asarray(pc.fill_null(coded.indices, len(number) - 1))]
        found = np.full(len(times), OUTSIDE, np.int32)
        order = np.argsort(codes, kind="stable")
        ends = np.searchsorted(codes[order], np.arange(len(numbers)), side="right")
        for key, here in zip(numbers, np.split(order, ends[:-1]), strict=True):
            if len(here):
                found[here] = self._of_base(key, times[here])
        return found

    def _of_base(self, key: str | None, times: Integers) -> NDArray[np.int32]:
        """Return the session of readings that all have one base id: its own sessions, or those of every base."""
        if key is None:
            return self.any_base.at(times)
        every, own = self.other_base.at(times), self.by_base.get(key)
        if own is None:
            return every
        its = own.at(times)
        return np.where(its == OUTSIDE, every, np.where(every == OUTSIDE, its, np.int32(TWO)))


def index_sessions(starts: Sequence[int], ends: Sequence[int], bases: Sequence[str | None]) -> SessionIndex:
    """Arrange sessions, given as half-open UTC millisecond intervals and base ids, for look-up.

    The caller has made sure that sessions of one base, or without a base id, overlap nothing that they could be
    taken for (`sessions.load_sessions` reports overlaps).
    """
    keys = [base_key(base) for base in bases]
    every = list(zip(starts, ends, range(len(keys)), strict=True))
    unnamed = [session for session, key in zip(every, keys, strict=True) if key is None]
    own: dict[str, list[tuple[int, int, int]]] = {}
    for session, key in zip(every, keys, strict=True):
        if key is not None:
            own.setdefault(key, []).append(session)
    by_base = {key: _Timeline.of(sessions) for key, sessions in own.items()}
    return SessionIndex(by_base, _Timeline.of(every), _Timeline.of(unnamed))
