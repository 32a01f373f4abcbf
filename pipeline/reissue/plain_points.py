"""Finds again, by name and time, readings that are points and not on a mark."""

from collections.abc import Collection

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.intake.survey import Survey
from pipeline.problems import JobError
from pipeline.read.exports import read_batches
from pipeline.tables import milliseconds

#: A point of a name, and when it was observed, UTC milliseconds.
Observation = tuple[str, int]


def plain_points(survey: Survey, wanted: Collection[Observation], within: int) -> set[Observation]:
    """Return which of some observations are sound readings that no session names and no code calls a check.

    The exports are read once more, which only a job that lost an occupation costs. What cannot be read is not there.

    Args:
        survey: the job.
        wanted: names and times.
        within: milliseconds that a time may differ by.
    """
    if not wanted:
        return set()
    try:
        return _found(survey, wanted, within)
    except JobError:  # a file that changed meanwhile is told where the points are made
        return set()


def _found(survey: Survey, wanted: Collection[Observation], within: int) -> set[Observation]:
    found, start, names = set[Observation](), 0, pa.array(sorted({name for name, _ in wanted}), pa.string())
    first = survey.first_pass
    held = np.concatenate([first.implausible.numbers, first.duplicates])
    marks = np.asarray(first.candidates.column("number"), np.int64)
    for export in survey.exports:
        for batch in read_batches(export):
            rows = np.flatnonzero(np.asarray(pc.fill_null(pc.is_in(batch.column("name"), names), False), bool))
            if len(rows):
                whole = export.points.columns.solution is not None
                sound = survey.sieve.sift(batch, None, whole).held[rows] == 0
                sound &= ~np.isin(start + rows, held) & ~np.isin(start + rows, marks)
                called, times = batch.column("name"), milliseconds(batch)
                for row in rows[sound].tolist():
                    name, time = called[row].as_py(), int(times[row])
                    found |= {one for one in wanted if one[0] == name and abs(one[1] - time) <= within}
            start += batch.num_rows
    return found
