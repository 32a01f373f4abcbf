"""Counts standard uncertainties of zero in the first pass, which mean that none is known."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct, field

from pipeline.arrays import Flags
from pipeline.intake.positions import stated_sigmas
from pipeline.read.exports import Export
from pipeline.words import counted


class Placeholders(Struct):
    """Counts per export the sound readings with an uncertainty of zero, and keeps the row of the first."""

    found: dict[int, tuple[int, int]] = field(default_factory=dict)

    def take(self, batch: pa.RecordBatch, export: int, sound: Flags) -> None:
        """Take one batch of an export; ``sound`` (n,) says which of its readings can be used."""
        rows = np.flatnonzero(sound & np.any([sigma == 0 for sigma in stated_sigmas(batch)], axis=0))
        if len(rows):
            count, first = self.found.get(export, (0, batch.column("source_row")[int(rows[0])].as_py()))
            self.found[export] = count + len(rows), first

    def notes(self, exports: Sequence[Export]) -> list[str]:
        """Return in words what was found."""
        return [
            f"{exports[export].shown}: {_readings(count, first)} a standard uncertainty of zero, which no observation"
            " has; the job's default is used instead"
            for export, (count, first) in self.found.items()
        ]


def _readings(count: int, first: int) -> str:
    return f"row {first} has" if count == 1 else f"{counted(count, 'row')}, row {first} first, have"
