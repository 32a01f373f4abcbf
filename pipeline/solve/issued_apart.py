"""How far apart two sessions issue one raw position: by the difference of their shifts, field shifts taken out."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats, Integers
from pipeline.intake.survey import Survey
from pipeline.solve.correct import SessionShifts, correct
from pipeline.solve.field_shifts import FieldShifts, Read


@dataclass(frozen=True)
class IssuedApart:
    """What it takes to tell that.

    Args:
        survey: the job before any shift.
        add: what is added to raw positions.
        field: field shifts to be taken out.
        places: (S, 3) a raw position of each session, working frame.
    """

    survey: Survey
    add: SessionShifts
    field: FieldShifts
    places: Floats

    def apart(self, session: Integers, time: Integers, export: Integers) -> Floats:
        """Return (k, 3) metres to the east, the north and up from the first to the second of readings of one position.

        They are NaN where a session is untied. The position is that of the first one's session: what the shift turns
        over some kilometres makes no difference here.

        Args:
            session: (k, 2) indices of the sessions of each two readings.
            time: (k, 2) UTC milliseconds.
            export: (k, 2) numbers of the exports.
        """
        first, second = (
            self._issued(self.places[session[:, 0]], session[:, which], time[:, which], export[:, which])
            for which in (0, 1)
        )
        return second - first

    def _issued(self, raw: Floats, session: Integers, time: Integers, export: Integers) -> Floats:
        frames, none = self.survey.operations.frames, np.zeros((len(session), 3))
        by = Read(session, time, export, pa.nulls(len(session), pa.string()))
        raw = self.field.take_out(raw, by, frames.to_issued)
        found = correct(frames, raw, session, sigma=none, shifts=self.add, site=self.survey.operations.site)
        return np.column_stack([found.easting, found.northing, found.height])
