"""Quality figures that stand for none: a standard uncertainty or a PDOP of zero, counted in the first pass."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags
from pipeline.job.model import Quality
from pipeline.read.files import Export
from pipeline.words import counted

_SIGMAS = ("sigma_east", "sigma_north", "sigma_up")


@dataclass
class Placeholders:
    """Counts per export the sound readings whose figures are zero, and keeps the row of the first."""

    quality: Quality
    found: dict[tuple[int, str], tuple[int, int]] = field(default_factory=dict)

    def take(self, batch: pa.RecordBatch, export: int, sound: Flags) -> None:
        """Take one batch of an export."""
        zero = {name: np.asarray(batch.column(name), np.float64) == 0.0 for name in (*_SIGMAS, "pdop")}
        self._add(batch, export, "sigma", sound & np.any([zero[name] for name in _SIGMAS], axis=0))
        if self.quality.max_pdop is not None:
            self._add(batch, export, "pdop", sound & zero["pdop"])

    def _add(self, batch: pa.RecordBatch, export: int, what: str, which: Flags) -> None:
        rows = np.flatnonzero(which)
        if len(rows):
            count, first = self.found.get((export, what), (0, batch.column("source_row")[int(rows[0])].as_py()))
            self.found[export, what] = count + len(rows), first

    def notes(self, exports: Sequence[Export]) -> list[str]:
        """Return in words what was found."""
        says = {
            "sigma": "a standard uncertainty of zero, which no observation has; the job's default is used instead",
            "pdop": "a PDOP of zero, which is not possible; quality.max_pdop is not applied",
        }
        return [
            f"{exports[export].shown}: {_readings(count, first)} {says[what]}"
            for (export, what), (count, first) in self.found.items()
        ]


def _readings(count: int, first: int) -> str:
    return f"row {first} has" if count == 1 else f"{counted(count, 'row')}, row {first} first, have"
