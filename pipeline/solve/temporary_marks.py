"""Temporary marks as the ties of the job adjusted them, for checks that stand on them.

Such a check takes no part in the adjustment, so that its difference says whether the base stood still since the mark
was tied, and whether the readings that tie it were sound. How well the mark is known in the session itself counts:
next to nothing is added where the session ties it, more where it hangs on a chain of sessions.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.uncertainty import horizontal_95, vertical_95
from pipeline.intake.survey import Survey
from pipeline.solve.adjusted_ties import Tied
from pipeline.solve.control_marks import Reference


class Temporary(Struct, frozen=True):
    """The marks of the adjustment that the register has not and whose position is tied, (k,) of them.

    Args:
        names: as the job names them.
        grid: (k, 3) easting, northing, height as adjusted; NaN for a height that nothing ties.
    """

    names: tuple[str, ...]
    grid: Floats

    def places(self) -> dict[str, Floats]:
        """Return (3,) easting, northing, height by name."""
        return dict(zip(self.names, self.grid, strict=True))


def temporary_marks(tied: Tied, known: Reference, survey: Survey) -> Temporary:
    """Return the temporary marks of a job."""
    ties, register = tied.shifts.adjustment.ties, frozenset(known.names)
    rows = [row for row, name in enumerate(tied.marks.names) if name not in register and ties.mark_position[row]]
    grid = np.column_stack(survey.operations.frames.to_issued.forward(*np.nan_to_num(tied.shifts.marks[rows]).T))
    grid[~ties.mark_height[rows], 2] = np.nan
    return Temporary(tuple(tied.marks.names[row] for row in rows), grid)


def known_to_95(tied: Tied, temporary: Temporary, session: Integers, marks: Sequence[str | None]) -> Floats:
    """Return (n, 2) the 95 % uncertainty in plan and in height with which sessions (n,) know temporary marks.

    That of the session's shift less the mark; 0 for every other mark.
    """
    number = {name: row for row, name in enumerate(tied.marks.names) if name in temporary.names}
    rows = [row for row, mark in enumerate(marks) if mark in number]
    found = np.zeros((len(marks), 2))
    if not rows:
        return found
    at = np.array([number[marks[row] or ""] for row in rows], np.int64)
    apart = shift_less_mark(tied, session[rows], at)
    turn = enu_rotation(tied.marks.longitude[at], tied.marks.latitude[at])
    local = np.nan_to_num(rotate_covariance(apart, turn))
    found[rows] = np.column_stack([horizontal_95(local), vertical_95(np.sqrt(np.maximum(local[:, 2, 2], 0.0)))])
    return found


def shift_less_mark(tied: Tied, session: Integers, mark: Integers) -> Floats:
    """Return (n, 3, 3) the covariance, X, Y, Z, of sessions' shifts (n,) less adjusted coordinates of marks (n,)."""
    between = tied.shifts.between(session, mark)
    total = tied.shifts.covariance[session] + tied.shifts.adjustment.mark_covariance[mark]
    return np.asarray(total - between - between.transpose(0, 2, 1))
