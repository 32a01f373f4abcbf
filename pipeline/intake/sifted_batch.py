"""A batch of readings in the first pass, with what is known of each reading by itself."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.intake.sort import Sifted
from pipeline.intake.sound_rows import SoundRows
from pipeline.occupations.signs import Signs
from pipeline.read.exports import Export


@dataclass(frozen=True, eq=False)
class SiftedBatch:
    """A batch of (n,) readings of one export, sorted: what a collector is handed.

    Args:
        batch: the readings.
        number: number of the export.
        export: the export.
        start: number of the first reading among all of the job.
        sifted: the session of each and what is wrong with it.
        signs: what each says of marks.
        places: (n,) longitudes, latitudes, degrees, and heights, metres; NaN where their CRS does not reach.
    """

    batch: pa.RecordBatch
    number: int
    export: Export
    start: int
    sifted: Sifted
    signs: Signs
    places: tuple[Floats, Floats, Floats]

    @property
    def session(self) -> NDArray[np.int32]:
        """(n,) the session of each, negative where none."""
        return self.sifted.session

    @cached_property
    def sound(self) -> Flags:
        """(n,) with which readings nothing is wrong."""
        return np.asarray(self.sifted.held == 0)

    @cached_property
    def free(self) -> Flags:
        """(n,) which readings are sound and stand on no mark as far as they say."""
        return self.sound & ~self.signs.candidate

    @cached_property
    def sound_rows(self) -> SoundRows:
        """The numbers of the sound readings."""
        return SoundRows.of(self.batch, self.number, self.export, self.sound, self.session)
