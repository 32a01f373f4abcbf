"""Selects the predictions that may fit from a few rows, so that the hundreds that cannot are not computed in full."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.blunders.score import WeighedDifferences, furthest, unexplained
from pipeline.tolerance import Tolerance


class Outlook(Struct, frozen=True):
    """The evidence, as it is and with each of some first causes taken out, at the rows that decide.

    Args:
        rows: (m,) places of rows in the evidence.
        evidences: what predictions are compared with; one that fits none of them explains nothing.
        tolerance: what they have to leave less than.
    """

    rows: Integers
    evidences: tuple[WeighedDifferences, ...]
    tolerance: Tolerance

    @classmethod
    def of(cls, evidences: Sequence[WeighedDifferences], spread: Integers, tolerance: Tolerance) -> "Outlook":
        """Return that of evidences of the same rows; the (k,) places ``spread`` are looked at as well."""
        rows = np.concatenate([spread, *(furthest(one, tolerance) for one in evidences)])
        return cls(np.unique(rows), tuple(evidences), tolerance)

    def may_fit(self, shapes: Floats, slack: Floats) -> Flags:
        """Return (k,) whether predictions (k, m, 3) at the rows, each with its slack, leave what passes there."""
        fits = np.zeros(len(shapes), bool)
        for evidence in self.evidences:
            left = unexplained(evidence, self.rows, shapes, slack)
            level, height = np.hypot(left[..., 0], left[..., 1]), np.abs(left[..., 2])
            fits |= self.tolerance.passes(np.stack([level, height], axis=-1)).all(axis=1)
        return fits
