"""Differences on occupied marks, observed minus known, compared with the tolerances of ``[checks]``."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.tolerance import Tolerance, plan_and_height


class Differences(Struct, frozen=True):
    """Observed minus known of (n,) occupations, metres in grid and height datum; NaN where nothing is known.

    ``tolerance`` is that of differences on marks of known coordinates, ``allowed`` (n, 2) that of each, in plan and in
    height. ``holds`` (n, 2) is whether position, height are judged. ``passed`` is
    meaningful only where ``judged``: a mark whose register coordinates hold nothing judges nobody.
    """

    east: Floats
    north: Floats
    height: Floats
    horizontal: Floats
    holds: Flags
    passed: Flags
    tolerance: Tolerance
    allowed: Floats

    @property
    def vectors(self) -> Floats:
        """Return (n, 3) metres to the east, to the north and up."""
        return np.column_stack([self.east, self.north, self.height])

    @property
    def judged(self) -> Flags:
        """Return (n,) whether anything of an occupation is judged."""
        return np.asarray(self.holds.any(axis=1))


def differences(
    observed: Floats, known: Floats, holds: Flags, tolerance: Tolerance, known_to: Floats | float = 0.0
) -> Differences:
    """Compare occupations with the coordinates of their marks.

    Args:
        observed: (n, 3) easting, northing, height.
        known: (n, 3) the register's; NaN where it has none.
        holds: (n, 2) whether the mark holds position, height; a component that it does not hold is not judged.
        tolerance: what they are compared with.
        known_to: (n, 2) the 95 % uncertainty, in plan and in height, of coordinates that nobody published.
    """
    apart = observed - known
    east, north, height = apart.T
    off = plan_and_height(apart)
    allowed = np.broadcast_to(tolerance.allowed(known_to), off.shape)
    passed = tolerance.passes(off, holds, known_to)
    return Differences(
        east=east,
        north=north,
        height=height,
        horizontal=off[:, 0],
        holds=holds,
        passed=passed,
        tolerance=tolerance,
        allowed=allowed,
    )
