"""Keeps the first sound readings of each session, the first plausible one of which says where the session is."""

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.positions import raw_positions

#: Sound readings of each session of which the first plausible one says where the session is.
_PLACES = 32


class SessionPlaces(Struct, frozen=True):
    """Of each session its first sound readings: number in the job, (3,) raw position, block."""

    known: tuple[list[tuple[int, Floats, int]], ...]

    @classmethod
    def of(cls, sessions: int) -> "SessionPlaces":
        """Return places of so many sessions, none of them known yet."""
        return cls(tuple([] for _ in range(sessions)))

    def take(self, batch: pa.RecordBatch, session: NDArray[np.int32], sound: Flags, block: int, start: int) -> None:
        """Keep the first sound readings of a batch, the first row of which is row ``start`` of the job."""
        rows = np.flatnonzero(sound)
        raw = raw_positions(batch)
        for number in np.unique(session[rows]).tolist():
            known = self.known[number]
            for row in rows[session[rows] == number][: _PLACES - len(known)].tolist():
                known.append((start + row, np.array([values[row] for values in raw]), block))

    def first(self, counting: Flags, once: Flags) -> tuple[Floats, Integers]:
        """Return (S, 3) the raw position of each session's first reading that counts, NaN where none, and its block.

        One that repeats another, (n,) ``once`` says which do not, stands for a session where those kept all do.
        """
        place = np.full((len(self.known), 3), np.nan)
        blocks = np.zeros(len(self.known), np.int64)
        for session, known in enumerate(self.known):
            some = [one for one in known if counting[one[0]]]
            if some:
                _, place[session], blocks[session] = next((one for one in some if once[one[0]]), some[0])
        return place, blocks
