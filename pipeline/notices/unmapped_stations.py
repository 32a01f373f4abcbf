"""Tells columns of many base positions that nobody mapped: those of a network, beside that of a base of one's own.

A network's stations change as often as they like. Where the session needs a shift, and all occupations and most
readings are on one position that comes again after others, which no virtual station does, the others lack that shift.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.other_bases import is_shifted
from pipeline.examine.unmapped_corrections import FEW, POSITIONS, BaseColumns, base_columns
from pipeline.intake.survey import Survey
from pipeline.solve.solve import Solved


def station_notes(survey: Survey, solved: Solved, local: Floats) -> Iterator[str]:
    """Yield a sentence for each session with such columns; ``local`` (S, 3) are shifts east, north, up [m]."""
    for window, shift in zip(survey.windows, local, strict=True):
        for found in base_columns(survey, window) if is_shifted(shift) else ():
            if found.word in POSITIONS and len(found.every) > FEW and _on_one(survey, solved, found):
                yield found.told()
                break


def _on_one(survey: Survey, solved: Solved, found: BaseColumns) -> bool:
    """Tell whether a position has all occupations of the session, most readings, and some before and after others."""
    ((own, count),) = found.every.most_common(1)
    here = solved.occupations.session == found.window.index
    export, row = (np.asarray(solved.occupations.table.column(of), np.int64)[here] for of in ("export", "source_row"))
    left = {at: column for at, each in enumerate(survey.exports) for of, _, column in found.columns if of is each}
    occupied = {
        key
        for at in np.unique(export).tolist()
        for key in (left[at].of_rows(row[export == at]) if at in left else ("",))
    }
    back = any(column.comes_back(own) for column in left.values())
    return occupied == {own} and 2 * count > found.every.total() and back
