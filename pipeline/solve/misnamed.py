"""Finds occupations that the job puts on one mark but that are named after another close by: CM1-AM tied to CM01."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.job.model import Job
from pipeline.letter_case import folded
from pipeline.occupations.features import VICINITY
from pipeline.occupations.signs import MarkNames
from pipeline.solve.control_marks import Reference

#: Two readings off their marks are alike within so many tolerances of checks: each is observed, and so are the marks.
_ALIKE = 2.0


class Misnamed(Struct, frozen=True):
    """A listed reading of a session, the mark that it is on, the one that it is named after, and (3,) how far off.

    ``longer`` is whether its name bears both, one within the other (CM1E-AM on CM1), which is no chance.
    """

    session: int
    name: str
    on: str
    named: str
    apart: Floats
    longer: bool = False

    def sentence(self) -> str:
        """Return it in words."""
        return f"{self.name} is on {self.on} according to the job, but named after {self.named}, {self.far()} away"

    def far(self) -> str:
        """Return in words how far the reading lies from the mark that it is named after."""
        return f"{np.hypot(*self.apart[:2]):.2f} m"

    def alike(self, apart: Floats, job: Job) -> bool:
        """Tell whether (3,) another reading is off the mark of its name by the same, and by more than a check may."""
        known = np.isfinite(apart) & np.isfinite(self.apart)
        off = np.where(known, apart - self.apart, 0.0)
        alike = np.hypot(*off[:2]) <= _ALIKE * job.checks.horizontal and abs(off[2]) <= _ALIKE * job.checks.vertical
        return bool(alike and known[:2].all() and np.hypot(*apart[:2]) > _ALIKE * job.checks.horizontal)


def misnamed(
    names: Sequence[str | None],
    on: Sequence[str | None],
    session: Integers,
    at: Floats,
    marks: MarkNames,
    register: Reference,
) -> tuple[Misnamed, ...]:
    """Return which readings are named after another mark of the register than the one that they are on.

    Args:
        names: of the listed readings.
        on: the mark that the job puts each on.
        session: (n,) index of the session.
        at: (n, 3) easting, northing, height.
        marks: the names of the register's marks.
        register: its marks.
    """
    found = []
    for name, mark, number, place in zip(names, on, session.tolist(), at, strict=True):
        named = marks.like(name) or (marks.bearing(name) or (None, ""))[0]
        if name is None or named is None or mark is None or named == mark or mark not in register.names:
            continue
        if _bears(name, mark) >= _bears(name, named):
            continue
        apart = place - register.grid[register.names.index(named)]
        if np.hypot(*apart[:2]) <= VICINITY:
            found.append(Misnamed(number, name, mark, named, apart, _bears(name, mark) > 0))
    return tuple(found)


def _bears(name: str, mark: str) -> int:
    """Return how many letters and digits of a mark's name a name begins or ends with, all or none: CM2-N on CM2N.

    What stands between them does not count. Of two marks the longer name is meant: CM1E-AM is not on CM1.
    """
    bare, of = ("".join(filter(str.isalnum, folded(text))) for text in (name, mark))
    return len(of) if bare.startswith(of) or bare.endswith(of) else 0
