"""The tolerance that occupations of control marks are compared with: the one rule that says what passes."""

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from pipeline.arrays import Flags, Floats

#: Metres by which a tolerance, or a mark's coordinate, is another: both are written to the millimetre at the least.
SAME = 5e-7


class Tolerance(Struct, frozen=True):
    """Metres by which an occupation may be off its mark: ``horizontal`` the distance in plan, ``vertical`` the height.

    A difference is (..., 2), its distance in plan and its height as `plan_and_height` gives them; ``holds`` (..., 2) is
    which of the two the mark holds. What a mark does not hold is not judged; what it holds and is NaN does not pass.
    """

    horizontal: float
    vertical: float

    def axes(self) -> Floats:
        """Return (3,) the tolerances east, north, up."""
        return np.array([self.horizontal, self.horizontal, self.vertical])

    def allowed(self, known_to: ArrayLike = 0.0) -> Floats:
        """Return (..., 2) what a difference may be from coordinates that are known to (..., 2) metres, 95 %.

        The two are independent, so that the root of the sum of their squares is allowed.
        """
        return np.hypot([self.horizontal, self.vertical], known_to)

    def passes(self, difference: ArrayLike, holds: ArrayLike = True, known_to: ArrayLike = 0.0) -> Flags:
        """Return (...) whether all that is judged lies within what is `allowed`."""
        return np.asarray(self._within(difference, holds, known_to).all(axis=-1))

    def excess(self, difference: ArrayLike, holds: ArrayLike = True) -> Floats:
        """Return (..., 2) metres beyond the tolerance: 0 where that passes or is not judged, NaN where unknown."""
        return np.where(self._within(difference, holds, 0.0), 0.0, np.abs(difference) - self.allowed())

    def _within(self, difference: ArrayLike, holds: ArrayLike, known_to: ArrayLike) -> Flags:
        within = np.abs(difference) <= self.allowed(known_to)
        return np.asarray(within | ~np.asarray(holds, bool))


def plan_and_height(difference: Floats) -> Floats:
    """Return (..., 2) the distance in plan and the height of (..., 3) differences east, north, up."""
    return np.stack([np.hypot(difference[..., 0], difference[..., 1]), difference[..., 2]], axis=-1)


def tolerance_text(metres: float) -> str:
    """Return a tolerance with three decimals, or with as many as it has."""
    return f"{metres:.3f}" if round(metres, 3) == round(metres, 9) else f"{metres:.9f}".rstrip("0")
