"""The readings of each session with their places, piece by piece, in whatever order the exports have them."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.ledger import PLACED, PLACEHOLDER, Rows
from pipeline.plausible import on_sphere

#: Rows among which a session's are looked for at a time, and rows from which on they are a piece.
_BLOCK, _PIECE = 1 << 16, 1 << 17


@dataclass(frozen=True)
class Placed:
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

    def __init__(self, rows: Rows, which: Flags) -> None:
        self.rows, self.which = rows, which
        self._blocks: dict[int, list[slice]] = {}
        for start in range(0, len(rows), _BLOCK):
            block = slice(start, start + _BLOCK)
            for session in np.unique(rows.session[block][which[block]]).tolist():
                self._blocks.setdefault(session, []).append(block)

    def of(self, session: int) -> "OfSession":
        """Return the readings of a session."""
        return OfSession(self, session)

    def references(self) -> tuple[Floats, Floats]:
        """Return places (k, 3) and heights (k,) of all readings that others may be held against."""
        found = [self._references(start) for start in range(0, len(self.rows), _BLOCK)]
        places = [np.zeros((0, 3)), *(piece.places for piece in found)]
        return np.concatenate(places), np.concatenate([np.zeros(0), *(piece.height for piece in found)])

    def _references(self, start: int) -> Placed:
        block = slice(start, start + _BLOCK)
        return self.placed(np.flatnonzero(self.which[block] & is_reference(self.rows.flags[block])) + start)

    def numbers(self, session: int) -> Iterator[Integers]:
        """Yield the numbers of a session's readings, ascending."""
        waiting, many = list[Integers](), 0
        for block in self._blocks.get(session, ()):
            waiting.append(np.flatnonzero(self.which[block] & (self.rows.session[block] == session)) + block.start)
            many += len(waiting[-1])
            if many >= _PIECE:
                yield np.concatenate(waiting)
                waiting, many = [], 0
        if many:
            yield np.concatenate(waiting)

    def placed(self, numbers: Integers) -> Placed:
        """Return readings by their numbers (k,), which ascend."""
        longitude, latitude, height = self.rows.columns.take(numbers, "longitude", "latitude", "height")
        places, flags = on_sphere(longitude, latitude), self.rows.flags[numbers]
        return Placed(numbers, flags, longitude, latitude, places, height.astype(np.float64))


class OfSession:
    """The readings of one session, to be gone through as often as needed; held where they are one piece.

    ``count`` says how many they are, ``references`` how many of them have place and height that others may be held
    against, ``placeholders`` how many have a height that may stand for none.
    """

    def __init__(self, by: BySession, session: int) -> None:
        self._by, self._session = by, session
        self.count = self.references = self.placeholders = 0
        for numbers in by.numbers(session):
            flags = by.rows.flags[numbers]
            self.count += len(numbers)
            self.references += int(np.count_nonzero(is_reference(flags)))
            self.placeholders += int(np.count_nonzero(flags & PLACEHOLDER))
        first = list(islice(by.numbers(session), 2))
        self._held = [by.placed(numbers) for numbers in first] if len(first) < 2 else None

    def __iter__(self) -> Iterator[Placed]:
        if self._held is not None:
            return iter(self._held)
        return (self._by.placed(numbers) for numbers in self._by.numbers(self._session))

    def references_of(self, every: int) -> tuple[Floats, Floats]:
        """Return places (k, 3) and heights (k,) of the references; of about one in ``every`` whatever their order."""
        chosen = [self._chosen(numbers, every) for numbers in self._by.numbers(self._session)]
        found = self._by.placed(np.concatenate([np.zeros(0, np.int64), *chosen]))
        return found.places, found.height

    def _chosen(self, numbers: Integers, every: int) -> Integers:
        numbers = numbers[is_reference(self._by.rows.flags[numbers])]
        if every == 1:
            return numbers
        (hashes,) = self._by.rows.columns.take(numbers, "hashes")
        chosen: Flags = hashes % np.uint64(every) == 0
        return numbers[chosen]


def is_reference(flags: NDArray[np.uint16]) -> Flags:
    """Return (k,) which readings have a place, and a height that is one."""
    found: Flags = (flags & (PLACED | PLACEHOLDER)) == PLACED
    return found
