"""Notes with which pole heights readings were made, in the first pass: few per session and export."""

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.read.pole_column import left_pole_columns, left_pole_heights, pole_heights

_MILLIMETRE = 1e-3
#: Blocks of one pole height that are counted in a batch: of more it is enough to know that there are.
_BLOCKS = 32
#: Metres below which a number may be a pole height, and different ones of a session and export, in a column that nobody
#: mapped; one with more is of something else.
_LONG, _MANY = 100.0, 64


class PoleSeen(Struct):
    """How many points of a session and export have one pole height, the row of the first, and in how many blocks."""

    count: int
    row: int
    blocks: int = 0


class PoleLog(Struct):
    """Collects pole heights, batch by batch, of exports that have them.

    ``points`` are those of sound readings that are no candidates for occupations, by session and export, and by
    millimetres; ``on`` the metres of the candidates, by export and row of its file. ``left`` are the same of columns
    that are of pole heights by their headings alone, by heading.
    """

    points: dict[tuple[int, int], dict[int, PoleSeen]] = field(default_factory=dict)
    on: dict[tuple[int, int], float] = field(default_factory=dict)
    left: dict[str, "PoleLog"] = field(default_factory=dict)
    _last: PoleSeen | None = None

    def take(self, sifted: SiftedBatch) -> None:
        """Take a batch."""
        batch, export, sound = sifted.batch, sifted.export, sifted.sound
        for name in left_pole_columns(export):
            if (metres := left_pole_heights(batch, export, name)) is not None:
                with np.errstate(invalid="ignore"):
                    known = sound & (metres >= 0.0) & (metres < _LONG)
                if len(np.unique(np.rint(metres[known] / _MILLIMETRE))) <= _MANY:
                    self.left.setdefault(name, PoleLog())._note(sifted, known, metres)
        if export.points.columns.pole_height is None or (metres := pole_heights(batch, export)) is None:
            return
        self._note(sifted, sound & np.isfinite(metres), metres)

    def _note(self, sifted: SiftedBatch, known: Flags, metres: Floats) -> None:
        number, session, candidate = sifted.number, sifted.session, sifted.signs.candidate
        rows = np.asarray(sifted.batch.column("source_row"), np.int64)
        for row in np.flatnonzero(known & candidate).tolist():
            self.on[number, int(rows[row])] = float(metres[row])
        self._points(number, session[known & ~candidate], metres[known & ~candidate], rows[known & ~candidate])

    def _points(self, number: int, session: NDArray[np.int32], metres: Floats, rows: NDArray[np.int64]) -> None:
        length = np.rint(metres / _MILLIMETRE).astype(np.int64)
        most = int(length.max(initial=0)) + 1
        of_row = session.astype(np.int64) * most + length
        keys, first, counts = np.unique(of_row, return_index=True, return_counts=True)
        for key, at, count in zip(keys.tolist(), first.tolist(), counts.tolist(), strict=True):
            own = self.points.setdefault((key // most, number), {})
            seen = own.setdefault(key % most, PoleSeen(0, int(rows[at])))
            seen.count += count
        begins = np.flatnonzero(np.diff(of_row, prepend=-1))[: _BLOCKS + 1]
        for key in of_row[begins].tolist():
            seen = self.points[key // most, number][key % most]
            seen.blocks += seen is not self._last
            self._last = seen
        for key in of_row[-1:].tolist():  # a block goes on in the next batch
            self._last = self.points[key // most, number][key % most]
