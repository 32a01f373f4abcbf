"""Asks whether degrees are packed degrees, minutes and seconds where their digits suggest it."""

import numpy as np

from pipeline.new_job.grid_fits import FilePositions
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.questions import Candidate, Question
from pipeline.plausible.packed import is_packed, unpacked


def packed_question(table: FilePositions, mapped: Mapped) -> Question | None:
    """Return the question whether the positions of a file are decimal degrees; None where nothing speaks against it."""
    if table.kind != "degrees" or mapped.dms or not {"longitude", "latitude"} <= mapped.columns.keys():
        return None
    known = np.isfinite(table.first) & np.isfinite(table.second)
    if not known.any() or not is_packed(table.first, table.second):
        return None
    latitude = float(table.second[known][0])
    asks = (
        f'are "{mapped.columns["longitude"]}" and "{mapped.columns["latitude"]}" decimal degrees? neither the first two'
        f" of their decimals nor the next two ever reach 60, as in degrees, minutes and seconds in one number: a"
        f" latitude of {latitude:.8f} would be {unpacked(latitude)}. If so, export decimal degrees, of marks and"
        " readings alike, and run `tiedown new` again: points would be kilometres off while all checks agree"
    )
    return Question("angles", asks, (Candidate('"decimal"', "they really are decimal degrees"),))
