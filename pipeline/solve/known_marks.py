"""The marks that a reading may lie at, of the register and of the ties, and how a place lies to them."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.arrays import Flags, Floats
from pipeline.job.model import Job
from pipeline.occupations.features import BESIDE, NO_MARK, MarkNearby
from pipeline.solve.control_marks import Reference
from pipeline.solve.differences import differences
from pipeline.solve.temporary_marks import Temporary
from pipeline.solve.which_mark import Places
from pipeline.tolerance import Tolerance


@dataclass(frozen=True)
class KnownMarks:
    """The marks of the register and those that the ties adjusted, and how readings of a job lie to them."""

    register: Reference
    temporary: Temporary
    job: Job

    @cached_property
    def reference(self) -> Reference:
        """The register with the temporary marks behind its own: a reading lies beside one or the other."""
        return _with(self.register, self.temporary)

    @cached_property
    def _row(self) -> dict[str, int]:
        names = self.reference.names
        return {names[row]: row for row in reversed(range(len(names)))}

    @cached_property
    def _of_every(self) -> Places:
        return Places(self.reference.names, self.reference.grid[:, :2])

    @cached_property
    def _of_register(self) -> Places:
        return Places(self.register.names, self.register.grid[:, :2])

    @cached_property
    def _holds(self) -> Flags:
        return self.reference.holds()

    @cached_property
    def _tolerance(self) -> Tolerance:
        return Tolerance(self.job.checks.horizontal, self.job.checks.vertical)

    def nearest(self, at: Floats) -> MarkNearby:
        """Return how (3,) a place lies to the nearest mark."""
        return self.to(self._of_every.nearest(at[:2], np.inf)[0], at)

    def nearest_register(self, at: Floats) -> MarkNearby:
        """Return how (3,) a place lies to the nearest mark of the register."""
        return self.to(self._of_register.nearest(at[:2], np.inf)[0], at)

    def to(self, mark: str | None, at: Floats) -> MarkNearby:
        """Return how (3,) a place lies to a mark."""
        if mark is None:
            return NO_MARK
        if (row := self._row.get(mark)) is None:
            return MarkNearby(mark)
        apart = at - self.reference.grid[row]
        distance = float(np.hypot(*apart[:2]))
        fails = distance <= max(BESIDE, self.job.checks.radius) and self._fails(row, at)
        east, north, up = apart.tolist()
        return MarkNearby(mark, distance, (east, north, up), fails)

    def _fails(self, row: int, at: Floats) -> bool:
        """Tell whether a check at (3,) a place would fail on a mark."""
        known, holds = self.reference.grid[[row]], self._holds[[row]]
        compared = differences(at[None], known, holds, self._tolerance)
        return bool(compared.judged[0] and not compared.passed[0])


def _with(register: Reference, temporary: Temporary) -> Reference:
    """Return the register with the temporary marks behind its own."""
    more = len(temporary.names)
    return Reference(
        names=(*register.names, *temporary.names),
        xyz=np.vstack([register.xyz, np.full((more, 3), np.nan)]),
        grid=np.vstack([register.grid, temporary.grid]),
        held=np.vstack([register.held, np.isfinite(temporary.grid)]),
        sigma=np.vstack([register.sigma, np.full((more, 3), np.nan)]),
        lost=np.vstack([register.lost, np.zeros((more, 2), bool)]),
    )
