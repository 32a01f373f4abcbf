"""The ways in which the two coordinates of a position are misread, whoever asks: warnings, held rows, causes.

They are what a hand, a program or a wrong pair of columns makes of two numbers. Another zone or datum takes a
projection: `geodesy.alternatives` has those; `digits` has the slips of typing.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats


class Misreading(Struct, frozen=True):
    """What two coordinates were meant to be: ``exchanged`` or not, then each times a factor, then with metres added."""

    exchanged: bool = False
    factors: tuple[float, float] = (1.0, 1.0)
    added: tuple[float, float] = (0.0, 0.0)

    def meant(self, pairs: Floats) -> Floats:
        """Return (..., 2) what (..., 2) easting and northing, or longitude and latitude, were meant to be."""
        turned = pairs[..., ::-1] if self.exchanged else pairs
        return np.asarray(turned * np.array(self.factors) + np.array(self.added))


#: Metres by which the northings of the two hemispheres of one grid differ.
_EQUATOR = 1e7
#: What a number becomes when its decimal point is moved.
_POINT = (10.0, 0.1, 100.0, 0.01)

EXCHANGED = Misreading(exchanged=True)
FIRST_SIGN = Misreading(factors=(-1.0, 1.0))
SECOND_SIGN = Misreading(factors=(1.0, -1.0))
BOTH_SIGNS = Misreading(factors=(-1.0, -1.0))
#: Northings of a grid with a false northing of 10 000 000 m taken for one without, and the other way.
SOUTHERN = Misreading(added=(0.0, -_EQUATOR))
NORTHERN = Misreading(added=(0.0, _EQUATOR))
POINT_MOVED = (
    *(Misreading(factors=(factor, 1.0)) for factor in _POINT),
    *(Misreading(factors=(1.0, factor)) for factor in _POINT),
)
