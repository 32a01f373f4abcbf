"""The earth as a sphere, good to half a percent: enough to tell places apart, and for nothing that is issued."""

import math

import numpy as np
from numpy.typing import NDArray

#: Metres.
RADIUS = 6_371_000.0
#: Metres in a degree of a great circle.
DEGREE = RADIUS * math.pi / 180.0


_Degrees = NDArray[np.float64] | float


def apart(
    longitude: _Degrees, latitude: _Degrees, other_longitude: _Degrees, other_latitude: _Degrees
) -> NDArray[np.float64]:
    """Return (n,) metres on the sphere between places, (n,) or one: also over a pole and the 180th meridian.

    Degrees of longitude are no distance near a pole, where ninety of them may be a step. NaN where there is no place.
    """
    across, up = np.radians(other_longitude - longitude), np.radians(other_latitude - latitude)
    parallels = np.cos(np.radians(latitude)) * np.cos(np.radians(other_latitude))
    half = np.sin(up / 2.0) ** 2 + parallels * np.sin(across / 2.0) ** 2
    return np.asarray(2.0 * RADIUS * np.arcsin(np.sqrt(np.minimum(half, 1.0))))
