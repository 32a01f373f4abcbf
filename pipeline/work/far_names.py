"""Points of one name at two places, among all readings of a job."""

import numpy as np

from pipeline.proof.places import FarRepeats, far_repeats
from pipeline.work.ledger import POINT, Rows

#: Metres: two bases that averaged their positions put one place about so far apart. Common practice, no source.
_WITHIN = 25.0


def far_names(rows: Rows) -> FarRepeats:
    """Return the sound points that lie far from the first of their name, by their numbers in the job."""
    of = rows.observed
    numbers = np.flatnonzero(rows.having(POINT) & np.isfinite(of.longitude) & np.isfinite(of.latitude))
    # each half alone would take different names for one in a large job
    names = of.name[numbers].astype(np.uint64) << np.uint64(32) | rows.spelled[numbers]
    found = far_repeats(names, of.longitude[numbers], of.latitude[numbers], _WITHIN)
    return FarRepeats(numbers[found.first], numbers[found.other], found.distance, found.names)
