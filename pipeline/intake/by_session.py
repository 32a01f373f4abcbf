"""The readings of each session with their places, piece by piece, in whatever order the exports have them."""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.ledger import PLACED, PLACEHOLDER, ReadingRows
from pipeline.plausible import on_sphere

#: Rows among which a session's are looked for at a time, and rows from which on they are a piece.
_BLOCK, _PIECE = 1 << 16, 1 << 17
#: Readings of sessions that follow each other that are read at a time: an export that is not in the order of time has
#: some of every session everywhere, so that to read those of one is to read all.
_TOGETHER = 1 << 18
#: The columns that say where a reading lies.
_PLACE = ("longitude", "latitude", "height")


class Placed(Struct, frozen=True):
    """Readings (k,): their numbers, ascending, flags, longitude and latitude, (k, 3) places on the sphere, heights."""

    number: Integers
    flags: NDArray[np.uint16]
    longitude: Floats
    latitude: Floats
    places: Floats
    height: Floats

    def __len__(self) -> int:
        return len(self.number)


class BySession:
    """Those of ``rows`` that ``which`` (n,) says, by session."""

    def __init__(self, rows: ReadingRows, which: Flags) -> None:
        self.rows, self.which = rows, which
        self.counts: dict[int, int] = {}
        self._blocks: dict[int, list[int]] = {}
        self._read: _Together | None = None
        for start in range(0, len(rows), _BLOCK):
            block = slice(start, start + _BLOCK)
            found, counts = np.unique(rows.session[block][which[block]], return_counts=True)
            for session, count in zip(found.tolist(), counts.tolist(), strict=True):
                self.counts[session] = self.counts.get(session, 0) + count
                self._blocks.setdefault(session, []).append(start)

    def of(self, session: int) -> "OfSession":
        """Return the readings of a session."""
        return OfSession(self, session)

    def references(self) -> tuple[Floats, Floats]:
        """Return places (k, 3) and heights (k,) of all readings that others may be compared with."""
        found = [self._references(start) for start in range(0, len(self.rows), _BLOCK)]
        places = [np.zeros((0, 3)), *(piece.places for piece in found)]
        return np.concatenate(places), np.concatenate([np.zeros(0), *(piece.height for piece in found)])

    def _references(self, start: int) -> Placed:
        block = slice(start, start + _BLOCK)
        return self.placed(np.flatnonzero(self.which[block] & is_reference(self.rows.flags[block])) + start)

    def read(self, session: int) -> "_Together":
        """Return what holds the readings of a session; read with it are those that follow, which are asked for next."""
        if self._read is None or session not in self._read.sessions:
            self._read = None  # two of them are never held
            sessions = self._following(session)
            pieces = [np.zeros(0, np.int64), *self.numbers(sessions)]
            self._read = _Together(self.rows, sessions, np.concatenate(pieces))
        return self._read

    def _following(self, session: int) -> range:
        """Return a session and those after it, as many as are read together."""
        many, last = self.counts.get(session, 0), max(self.counts, default=session)
        for after in range(session + 1, last + 1):
            count = self.counts.get(after, 0)
            many += count
            if count > _PIECE or many > _TOGETHER:
                return range(session, after)
        return range(session, max(session, last) + 1)

    def numbers(self, sessions: range) -> Iterator[Integers]:
        """Yield (k,) numbers of the readings of sessions that follow each other, ascending, piece by piece."""
        waiting, many = list[Integers](), 0
        for start in sorted({start for session in sessions for start in self._blocks.get(session, ())}):
            block = slice(start, start + _BLOCK)
            of = self.rows.session[block]
            here = self.which[block] & (of >= sessions.start) & (of < sessions.stop)
            waiting.append(np.flatnonzero(here) + start)
            many += len(waiting[-1])
            if many >= _PIECE:
                yield np.concatenate(waiting)
                waiting, many = [], 0
        if many:
            yield np.concatenate(waiting)

    def placed(self, numbers: Integers) -> Placed:
        """Return readings by their numbers (k,), which ascend."""
        return _placed(self.rows, numbers, *self.rows.columns.take(numbers, *_PLACE))


class _Together:
    """The readings of ``sessions``, with these ``numbers`` (k,) ascending, read at once."""

    def __init__(self, rows: ReadingRows, sessions: range, numbers: Integers) -> None:
        self.sessions, self._rows, self._numbers = sessions, rows, numbers
        *self._place, self._hashes = rows.columns.take(numbers, *_PLACE, "hashes")
        of = rows.session[numbers]
        self._order = np.argsort(of, kind="stable")
        self._ends = np.searchsorted(of[self._order], np.arange(sessions.start, sessions.stop + 1)).tolist()

    def of(self, session: int) -> tuple[Placed, NDArray[np.uint64]]:
        """Return the readings of one of the sessions, and their hashes."""
        first = session - self.sessions.start
        mine = self._order[self._ends[first] : self._ends[first + 1]]
        return _placed(self._rows, self._numbers[mine], *(column[mine] for column in self._place)), self._hashes[mine]


class OfSession:
    """The readings of one session, to be gone through as often as needed; held where they are one piece.

    ``count`` says how many they are, ``references`` how many of them have place and height that others may be held
    against, ``placeholders`` how many have a height that may stand for none.
    """

    def __init__(self, by: BySession, session: int) -> None:
        self._by, self._sessions = by, range(session, session + 1)
        self.count = by.counts.get(session, 0)
        self._held = by.read(session).of(session) if self.count <= _PIECE else None
        self.references = self.placeholders = 0
        for flags in self._flags():
            self.references += int(np.count_nonzero(is_reference(flags)))
            self.placeholders += int(np.count_nonzero(flags & PLACEHOLDER))

    def __iter__(self) -> Iterator[Placed]:
        if self._held is not None:
            return iter(self._held[:1])
        return (self._by.placed(numbers) for numbers in self._by.numbers(self._sessions))

    def _flags(self) -> Iterator[NDArray[np.uint16]]:
        if self._held is not None:
            return iter([self._held[0].flags])
        return (self._by.rows.flags[numbers] for numbers in self._by.numbers(self._sessions))

    def references_of(self, every: int) -> tuple[Floats, Floats]:
        """Return places (k, 3) and heights (k,) of the references; of about one in ``every`` whatever their order."""
        if self._held is not None:
            found, hashes = self._held
            chosen = is_reference(found.flags) & _one_in(every, hashes)
            return found.places[chosen], found.height[chosen]
        pieces = [self._chosen(numbers, every) for numbers in self._by.numbers(self._sessions)]
        found = self._by.placed(np.concatenate(pieces))
        return found.places, found.height

    def _chosen(self, numbers: Integers, every: int) -> Integers:
        numbers = numbers[is_reference(self._by.rows.flags[numbers])]
        (hashes,) = self._by.rows.columns.take(numbers, "hashes")
        return numbers[_one_in(every, hashes)]


def _placed(
    rows: ReadingRows, numbers: Integers, longitude: Floats, latitude: Floats, height: NDArray[np.float32]
) -> Placed:
    places = on_sphere(longitude, latitude)
    return Placed(numbers, rows.flags[numbers], longitude, latitude, places, height.astype(np.float64))


def _one_in(every: int, hashes: NDArray[np.uint64]) -> Flags:
    """Return (k,) which readings are the one in so many."""
    found: Flags = hashes % np.uint64(every) == 0
    return found


def is_reference(flags: NDArray[np.uint16]) -> Flags:
    """Return (k,) which readings have a place, and a height that is one."""
    found: Flags = (flags & (PLACED | PLACEHOLDER)) == PLACED
    return found
