"""How far rows that have one name lie from one another: readings on one mark, or a mark that is given twice."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.new_job.grid_fits import FilePositions
from pipeline.sphere import DEGREE


def from_their_middle(table: FilePositions, some: Sequence[int] | Integers) -> Floats:
    """Return (k,) metres, about, of some rows of a table from the middle of them; NaN where one has no place."""
    places = np.column_stack([table.first, table.second])[np.asarray(some, np.int64)]
    if not np.isfinite(places).all(axis=1).any():
        return np.full(len(places), np.nan)
    middle = np.nanmedian(places, axis=0)
    if table.kind == "degrees":
        places, middle = ((each * DEGREE * [np.cos(np.radians(middle[1])), 1.0]) for each in (places, middle))
    return np.asarray(np.hypot(*(places - middle).T))
