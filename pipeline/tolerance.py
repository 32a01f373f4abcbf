"""The tolerance that occupations of control marks are held against: the one rule that says what passes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.arrays import Flags, Floats


@dataclass(frozen=True)
class Tolerance:
    """Metres by which an occupation may be off its mark: ``horizontal`` the distance in plan, ``vertical`` the height.

    A difference is (..., 2), its distance in plan and its height as `plan_and_height` gives them; ``holds`` (..., 2) is
    which of the two the mark holds. What a mark does not hold is not judged; what it holds and is NaN does not pass.
    """

    horizontal: float
    vertical: float

    def axes(self) -> Floats:
        """Return (3,) the tolerances east, north, up."""
        return np.array([self.horizontal, self.horizontal, self.vertical])

    def passes(self, difference: ArrayLike, holds: ArrayLike = True) -> Flags:
        """Return (...) whether all that is judged lies within the tolerance."""
        return np.asarray(self._within(difference, holds).all(axis=-1))

    def excess(self, difference: ArrayLike, holds: ArrayLike = True) -> Floats:
        """Return (..., 2) metres beyond the tolerance: 0 where that passes or is not judged, NaN where unknown."""
        beyond = np.abs(difference) - np.array([self.horizontal, self.vertical])
        return np.where(self._within(difference, holds), 0.0, beyond)

    def _within(self, difference: ArrayLike, holds: ArrayLike) -> Flags:
        within = np.abs(difference) <= np.array([self.horizontal, self.vertical])
        return np.asarray(within | ~np.asarray(holds, bool))


def plan_and_height(difference: Floats) -> Floats:
    """Return (..., 2) the distance in plan and the height of (..., 3) differences east, north, up."""
    return np.stack([np.hypot(difference[..., 0], difference[..., 1]), difference[..., 2]], axis=-1)
