"""The sound readings of a batch, taken out of it once for all who compare the numbers of rows with one another."""

from collections.abc import Callable
from functools import partial

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.positions import axis_metres, finest_digit, raw_positions
from pipeline.read.exports import Export

#: Rows of a batch up to which edited cells are looked for: larger exports nobody edits, and in more rows much agrees by
#: chance. Ours, no source.
EDITED = 20_000


class SoundRows(Struct, frozen=True):
    """The sound readings of a batch, (n,) each, in the order of the file.

    Args:
        number: number of the export.
        export: the export.
        row: row in it.
        place: (n, 3) coordinates as given: longitude or easting, latitude or northing, height.
        session: index of the session; none is sound without one.
        batch: how many rows the batch has in all.
    """

    number: int
    export: Export
    row: Integers
    place: Floats
    session: NDArray[np.int32]
    batch: int

    @classmethod
    def of(
        cls, batch: pa.RecordBatch, number: int, export: Export, sound: Flags, session: NDArray[np.int32]
    ) -> "SoundRows":
        """Take them out of a batch of export ``number``: (n,) which rows are sound, and their sessions."""
        row = np.asarray(batch.column("source_row"), np.int64)
        place = np.column_stack(raw_positions(batch))
        return cls(number, export, row[sound], place[sound], session[sound], batch.num_rows)

    @property
    def geocentric(self) -> bool:
        """Whether the coordinates are X, Y, Z, which no spreadsheet shows place by place."""
        return self.export.points.columns.z is not None

    @property
    def edited(self) -> bool:
        """Whether somebody may have edited them by hand, coordinate by coordinate."""
        return not self.geocentric and self.batch <= EDITED

    @property
    def metres(self) -> Floats:
        """Return (3,) how many metres one unit is along each axis."""
        return np.array(axis_metres(self.place[:, 1], self.export))

    @property
    def digit(self) -> Callable[[Floats, int], float]:
        """Return what gives the worth of the last digit of coordinates along an axis, at the finest [m]."""
        return partial(finest_digit, export=self.export)

    def sessions(self, rows: slice | Integers) -> tuple[int, ...]:
        """Return the sessions that some of them are in, by their places here."""
        return tuple(np.unique(self.session[rows]).tolist())
