"""Notes with which pole heights readings were made, in the first pass: few per session and export."""

from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.read.exports import Export
from pipeline.read.pole_column import pole_heights

_MILLIMETRE = 1e-3


@dataclass
class PoleSeen:
    """How many points of a session and export have one pole height, and the row of the first in its file."""

    count: int
    row: int


@dataclass
class PoleLog:
    """Collects pole heights, batch by batch, of exports that have them.

    ``points`` are those of sound readings that are no candidates for occupations, by session and export, and by
    millimetres; ``on`` the metres of the candidates, by export and row of its file.
    """

    points: dict[tuple[int, int], dict[int, PoleSeen]] = field(default_factory=dict)
    on: dict[tuple[int, int], float] = field(default_factory=dict)

    def take(
        self,
        batch: pa.RecordBatch,
        number: int,
        export: Export,
        session: NDArray[np.int32],
        sound: Flags,
        candidate: Flags,
    ) -> None:
        """Take a batch of export ``number``: its sessions (n,), sound readings (n,) and candidates (n,)."""
        if export.points.columns.pole_height is None or (metres := pole_heights(batch, export)) is None:
            return
        rows, known = np.asarray(batch.column("source_row"), np.int64), sound & np.isfinite(metres)
        for row in np.flatnonzero(known & candidate).tolist():
            self.on[number, int(rows[row])] = float(metres[row])
        self._points(number, session[known & ~candidate], metres[known & ~candidate], rows[known & ~candidate])

    def _points(self, number: int, session: NDArray[np.int32], metres: Floats, rows: NDArray[np.int64]) -> None:
        length = np.rint(metres / _MILLIMETRE).astype(np.int64)
        most = int(length.max(initial=0)) + 1
        keys, first, counts = np.unique(session.astype(np.int64) * most + length, return_index=True, return_counts=True)
        for key, at, count in zip(keys.tolist(), first.tolist(), counts.tolist(), strict=True):
            own = self.points.setdefault((key // most, number), {})
            seen = own.setdefault(key % most, PoleSeen(0, int(rows[at])))
            seen.count += count
