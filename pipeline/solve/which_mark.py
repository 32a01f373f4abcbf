"""Decides which mark a reading is on, once the shifts are known; nothing else does.

Before that, by raw positions that a base may have put metres off, `examine.stood_on` makes a guess of it for warnings.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.geodesy.transform import Operation
from pipeline.intake.candidates import Candidates
from pipeline.job.model import Job
from pipeline.letter_case import one_form
from pipeline.occupations.features import VICINITY
from pipeline.occupations.signs import Wanted, said_mark
from pipeline.solve.control_marks import Reference
from pipeline.solve.correct import Corrected


class Places(Struct, frozen=True):
    """Marks by name, and (m, 2) where each lies on the grid, NaN where nobody knows."""

    names: Sequence[str]
    at: Floats

    def nearest(self, point: Floats, within: float) -> tuple[str | None, float]:
        """Return the mark nearest to (2,) metres on the grid, and how far it is; None beyond ``within``."""
        distance = np.hypot(*(self.at - point).T)
        near = np.flatnonzero(distance <= within)
        if not len(near):
            return None, np.inf
        first = near[np.argmin(distance[near])]
        return self.names[first], float(distance[first])

    def beside(self, mark: str, point: Floats, within: float) -> tuple[str | None, float]:
        """Return likewise, of (2,) metres on the grid, for one mark alone."""
        return Places((mark,), self.at[[self.names.index(mark)]]).nearest(point, within)


def resolve(
    candidates: Candidates,
    corrected: Corrected,
    job: Job,
    reference: Reference,
    temporary: Mapping[str, Floats],
    to_issued: Operation,
) -> list[str | None]:
    """Return per candidate the mark that it stands on, None where it is an ordinary point.

    A session's word comes first. A reading with one of ``checks.codes``, or with a mark of the register in its ``mark``
    column, stands on the mark that it names, however far away; without a name, on the nearest within ``checks.radius``;
    else on one that its name is merely like, within `VICINITY`; else on the nearest within ``checks.radius`` of where
    the export has it: the field had corrected it, and corrected once more it lies beside. A temporary mark, (3,) as
    adjusted, is known as well.
    """
    wanted = Wanted.of([], job.checks.codes, reference.names)
    coded, columns = wanted.stated(candidates.table)
    known, every = frozenset(reference.names), frozenset(map(one_form, (*reference.names, *temporary)))
    at = np.vstack([reference.grid[:, :2], *(at[None, :2] for at in temporary.values())])
    places = Places((*reference.names, *temporary), at)
    marks: list[str | None] = []
    for row, said in enumerate(candidates.named):
        mark, point = None, np.array([corrected.easting[row], corrected.northing[row]])
        if said is not None:
            mark = said.mark
        elif coded[row] or columns[row] in every:
            mark = said_mark(candidates.names[row], columns[row], known)
            mark = mark or said_mark(candidates.names[row], columns[row], temporary)
            mark = mark or places.nearest(point, job.checks.radius)[0]
            like = None if mark else wanted.marks.like(candidates.names[row])
            mark = mark or (places.beside(like, point, VICINITY)[0] if like else None)
            mark = mark or _as_exported(candidates.raw[row], places, job.checks.radius, to_issued)
        marks.append(mark)
    return marks


def _as_exported(raw: Floats, places: Places, radius: float, to_issued: Operation) -> str | None:
    """Return the mark that (3,) a raw position lies on."""
    easting, northing, _ = to_issued.forward(*raw.reshape(3, 1))
    return places.nearest(np.array([easting[0], northing[0]]), radius)[0]
