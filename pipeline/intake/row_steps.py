"""How fast one would have gone from row to row of each export: what nobody measured has any times."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.ledger import ReadingRows
from pipeline.plausible.two_tracks import LEAST, SOON, SPEED, WALKED
from pipeline.sphere import apart

#: Metres that somebody may be off at once, whatever the speed.
_AT_ONCE = 10.0


class RowSteps(Struct):
    """Steps from one reading of an export to the next in its order, and how many of them are too fast for anybody.

    ``leaps`` are those to another site at a speed that no rover has, ``hasty`` those at one that nobody walks at,
    ``back`` those that go back in time: between rows that follow one another in time there may be others then.
    """

    count: int = 0
    fast: int = 0
    leaps: int = 0
    hasty: int = 0
    back: int = 0


def farthest(milliseconds: Integers) -> Floats:
    """Return (n,) metres that somebody may be from where he was (n,) milliseconds before."""
    return np.asarray(_AT_ONCE + SPEED * milliseconds / 1000.0, np.float64)


def row_steps(rows: ReadingRows, counting: Flags) -> tuple[RowSteps, ...]:
    """Return the steps of each export between the readings that are ``counting`` (n,)."""
    found = tuple(RowSteps() for _ in rows.starts)
    for at, (time, longitude, latitude) in rows.columns.pieces("time", "longitude", "latitude"):
        which = np.flatnonzero(counting[at])
        if len(which) < 2:
            continue
        one = found[int(rows.export(np.array([at.start]))[0])]
        time, longitude, latitude = time[which], longitude[which], latitude[which]
        far = apart(longitude[:-1], latitude[:-1], longitude[1:], latitude[1:])
        one.count += len(far)
        with np.errstate(invalid="ignore"):
            gone = np.abs(np.diff(time))
            one.back += int(np.count_nonzero(np.diff(time) < 0))
            fast = far > farthest(gone)
            one.fast += int(fast.sum())
            late = gone >= 1000.0 * SOON
            one.hasty += int((late & (far > WALKED.least) & (far > WALKED.speed * gone / 1000.0)).sum())
            one.leaps += int(((far[fast] > LEAST) & late[fast]).sum())
    return found
