"""How fast one would have gone from row to row of each export: what nobody measured has any times."""

from dataclasses import dataclass

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.ledger import ReadingRows
from pipeline.sphere import apart

#: Metres a second, and metres at once, that nobody moves faster between two measurements.
_SPEED, _AT_ONCE = 30.0, 10.0


@dataclass
class RowSteps:
    """Steps from one reading of an export to the next in its order, and how many of them are too fast for anybody."""

    count: int = 0
    fast: int = 0


def farthest(milliseconds: Integers) -> Floats:
    """Return metres that somebody may be from where he was so long before."""
    return np.asarray(_AT_ONCE + _SPEED * milliseconds / 1000.0, np.float64)


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
        with np.errstate(invalid="ignore"):
            one.fast += int((far > farthest(np.abs(np.diff(time)))).sum())
        one.count += len(far)
    return found
