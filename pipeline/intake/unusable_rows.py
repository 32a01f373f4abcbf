"""Counts the rows of exports that cannot be used, by reason, and keeps the first of each."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Integers
from pipeline.intake.sort import Sieve
from pipeline.intake.zone_numbers import zone_before
from pipeline.replace import replace
from pipeline.words import REASONS, Reason


class Unusable(Struct, frozen=True):
    """Rows that cannot be used for one reason: how many, and the first of them with why."""

    reason: Reason
    count: int
    export: int
    row: int
    why: str


class UnusableRows(Struct):
    """Rows that cannot be used, batch by batch.

    ``unplaced`` are sound rows whose coordinates their CRS does not reach, None where there are none; ``solutions`` are
    those of rows that are not accepted, each once.
    """

    sieve: Sieve
    by_code: dict[int, Unusable] = field(default_factory=dict)
    unplaced: Unusable | None = None
    solutions: dict[str, None] = field(default_factory=dict)

    def found(self) -> tuple[Unusable, ...]:
        """Return what was counted, the most frequent reason first."""
        return tuple(sorted(self.by_code.values(), key=lambda each: -each.count))

    def take(self, batch: pa.RecordBatch, held: NDArray[np.uint8], export: int) -> None:
        """Count the rows that cannot be used, by reason, and keep the first of each."""
        counts = np.bincount(held)
        for code in np.flatnonzero(counts).tolist():
            if not code:
                continue
            if REASONS[code - 1] is Reason.NOT_FIXED:
                found = pc.unique(batch.column("solution").filter(pa.array(held == code))).to_pylist()
                self.solutions |= dict.fromkeys(solution for solution in found if solution)
            if (before := self.by_code.get(code)) is not None:
                self.by_code[code] = replace(before, count=before.count + int(counts[code]))
                continue
            row = int(np.argmax(held == code))
            number, why = int(batch.column("source_row")[row].as_py()), self.sieve.why_held(batch, row, code) or ""
            self.by_code[code] = Unusable(REASONS[code - 1], int(counts[code]), export, number, why)

    def take_unplaced(self, batch: pa.RecordBatch, rows: Integers, export: int) -> None:
        """Count (k,) sound rows of a batch without a longitude and latitude; keep the coordinates of the first."""
        if not len(rows):
            return
        if self.unplaced is not None:
            self.unplaced = replace(self.unplaced, count=self.unplaced.count + len(rows))
            return
        first, second = (float(batch.column(axis)[int(rows[0])].as_py()) for axis in ("first", "second"))
        row = int(batch.column("source_row")[int(rows[0])].as_py())
        self.unplaced = Unusable(
            Reason.OUTSIDE_COVERAGE, len(rows), export, row, f"{first:.3f}, {second:.3f}{zone_before(first)}"
        )
