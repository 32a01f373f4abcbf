"""The readings of each session with their places, piece by piece, in whatever order the exports have them."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.ledger import PLACEHOLDER, Rows
from pipeline.plausible import on_sphere

#: Rows among which a session's are looked for at a time, and rows from which on they are a piece.
_BLOCK, _PIECE = 1 << 16, 1 << 17


@dataclass(frozen=True)
class Placed:
    """Readings (k,): their numbers, ascending, longitude and latitude, (k, 3) places on the sphere, heights.

    ``placeholder`` says whose height may stand for none, ``reference`` which ones others may be held against.
    """

    number: Integers
    longitude: Floats
    latitude: Floats
    places: Floats
    height: Floats
    placeholder: Flags
    reference: Flags

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

    def every(self) -> Iterator[Placed]:
        """Yield all readings."""
        for start in range(0, len(self.rows), _BLOCK):
            yield self.placed(np.flatnonzero(self.which[start : start + _BLOCK]) + start)

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
        places = on_sphere(longitude, latitude)
        placeholder = (self.rows.flags[numbers] & PLACEHOLDER) != 0
        reference = np.isfinite(places).all(axis=1) & ~placeholder
        return Placed(numbers, longitude, latitude, places, height.astype(np.float64), placeholder, reference)


class OfSession:
    """The readings of one session, to be gone through as often as needed; held where they are one piece."""

    def __init__(self, by: BySession, session: int) -> None:
        self._by, self._session = by, session
        first = list(islice(by.numbers(session), 2))
        self._held = [by.placed(numbers) for numbers in first] if len(first) < 2 else None

    def __iter__(self) -> Iterator[Placed]:
        if self._held is not None:
            return iter(self._held)
        return (self._by.placed(numbers) for numbers in self._by.numbers(self._session))
