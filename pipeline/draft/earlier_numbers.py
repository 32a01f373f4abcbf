"""Takes numbers of the previous issue over unchanged, instead of computing them again."""

from collections.abc import Mapping

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.solve.correct import VALUES

#: Points of one raw file: their row numbers there, ascending, with session and (n, 8) values.
OfFile = tuple[Integers, NDArray[np.int32], Floats]


class Reuse(Struct, frozen=True):
    """The numbers of the previous issue, for the points that no change reaches.

    Args:
        sessions: (S,) which sessions are as they were.
        rows: per raw file that is as it was, its points.
    """

    sessions: Flags
    rows: Mapping[str, OfFile]

    def find(self, shown: str, source_row: Integers, session: Integers) -> tuple[Flags, Floats]:
        """Return (n,) which readings of a raw file have their numbers already, and those (k, 8) numbers."""
        if shown not in self.rows:
            return np.zeros(len(source_row), bool), np.zeros((0, len(VALUES)))
        rows, sessions, values = self.rows[shown]
        at = np.minimum(np.searchsorted(rows, source_row), len(rows) - 1)
        # -1 is no session, and among the earlier points one that is gone
        found = (session >= 0) & (rows[at] == source_row) & (sessions[at] == session) & self.sessions[session]
        return found, values[at[found]]
