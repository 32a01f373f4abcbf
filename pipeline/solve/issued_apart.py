"""How far apart two readings lie: as exported, and by how much more their sessions issue them apart."""

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.intake.same_names import SameNames
from pipeline.intake.survey import Survey
from pipeline.solve.correct import SessionShifts, correct
from pipeline.solve.field_shifts import FieldReadings, FieldShifts
from pipeline.solve.reading_precision import Precision
from pipeline.sphere import DEGREE


def raw_apart(same: SameNames, pairs: Integers) -> Floats:
    """Return (k, 3) metres to the east, the north and up from the first to the second reading, as exported.

    ``pairs`` (k, 2) are rows of ``same``. Good to half a percent of the distance, as `pipeline.sphere` is.
    """
    east, north, up = (np.diff(each[pairs], axis=1).ravel() for each in (same.longitude, same.latitude, same.height))
    parallel = np.cos(np.radians(same.latitude[pairs[:, 0]]))
    found: Floats = np.column_stack([DEGREE * parallel * ((east + 180.0) % 360.0 - 180.0), DEGREE * north, up])
    return found


class IssuedApart(Struct, frozen=True):
    """How far apart two sessions issue one raw position: by the difference of their shifts, field shifts taken out.

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

    def apart(
        self, session: Integers, time: Integers, export: Integers, base: NDArray[np.object_] | None = None
    ) -> Floats:
        """Return (k, 3) metres to the east, the north and up from the first to the second of readings of one position.

        They are NaN where a session is untied, or has a field shift of one base id and those are not known. The
        position is that of the first one's session: what the shift turns over some kilometres makes no difference.

        Args:
            session: (k, 2) indices of the sessions of each two readings.
            time: (k, 2) UTC milliseconds.
            export: (k, 2) numbers of the exports.
            base: (k, 2) base ids, None for a reading that has none.
        """
        texts = np.full(session.shape, None, np.object_) if base is None else base
        first, second = (
            self._issued(
                self.places[session[:, 0]],
                FieldReadings(session[:, side], time[:, side], export[:, side], pa.array(texts[:, side], pa.string())),
            )
            for side in (0, 1)
        )
        apart = second - first
        if base is None:
            of_one_base = [one.window.session for one in self.field.taken if one.window.base is not None]
            apart[np.isin(session, of_one_base).any(axis=1)] = np.nan
        return apart

    def _issued(self, raw: Floats, readings: FieldReadings) -> Floats:
        operations, none = self.survey.operations, Precision(np.zeros((len(raw), 3)))
        raw = self.field.take_out(raw, readings, operations.frames.to_issued)
        return correct(operations, raw, readings.session, none, self.add).places
