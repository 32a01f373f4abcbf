"""Compares raw readings on marks with the register before any shift [m], to find sessions that were computed."""

from collections.abc import Iterable

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.examine.stood_on import Stood
from pipeline.geodesy.frames import enu_rotation, turn
from pipeline.intake.survey import Survey

#: Metres within which readings on different marks agree with the register where they were computed from it rather than
#: measured: more than coordinates that are rounded to millimetres make. Ours; what is measured scatters further.
COMPUTED = 0.002


class OnTheMarks(Struct, frozen=True):
    """How readings on marks lie to the register, (n,) one for each mark and session.

    ``off`` is (n, 3) mark minus reading to the east, the north and upwards, less the session's mean: NaN in height
    where the register has none.
    """

    session: Integers
    mark: Integers
    off: Floats

    def computed(self, session: int, height: bool) -> bool:
        """Tell whether readings on two marks of a session or more agree as only computed ones do.

        A session that stands on one mark or none is as the others of the job are.
        """
        known = self.off[:, 2] if height else np.abs(self.off[:, :2]).max(axis=1, initial=0.0)
        told = np.isfinite(known)
        numbers, marks = np.unique(self.session[told], return_counts=True)
        several = numbers[marks > 1]
        of = [session] if session in several else several.tolist()
        return bool(of) and bool(np.abs(known[told & np.isin(self.session, of)]).max() <= COMPUTED)

    def measured(self, sessions: Iterable[int]) -> tuple[int, ...]:
        """Return those of some sessions in which positions on marks were not computed."""
        return tuple(one for one in sessions if not self.computed(one, height=False))


def on_the_marks(survey: Survey, stood: Stood | None) -> OnTheMarks:
    """Compare the readings of each session on each mark whose position the register has."""
    register, operation = survey.register, survey.operations.register
    nothing = OnTheMarks(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 3)))
    if stood is None or register is None or operation is None or not len(stood.mark):
        return nothing
    pairs, which = np.unique(np.column_stack([stood.session, stood.mark]), axis=0, return_inverse=True)
    session, mark = pairs.T
    third = np.nan_to_num(register.third)
    known = np.column_stack(operation.forward(register.first[mark], register.second[mark], third[mark]))
    raw = (
        np.column_stack([np.bincount(which.ravel(), axis) for axis in stood.xyz.T])
        / np.bincount(which.ravel())[:, None]
    )
    placed = np.isfinite(known).all(axis=1) & np.isfinite(raw).all(axis=1)
    if not placed.any():
        return nothing
    session, mark, known, raw = session[placed], mark[placed], known[placed], raw[placed]
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*known.T)
    off = turn(known - raw, enu_rotation(longitude, latitude))
    off[~np.isfinite(register.third[mark]), 2] = np.nan
    for number in np.unique(session).tolist():
        here = session == number
        for axis in range(3):
            there = here & np.isfinite(off[:, axis])
            if there.any():
                off[there, axis] -= off[there, axis].mean()
    return OnTheMarks(session, mark, off)
