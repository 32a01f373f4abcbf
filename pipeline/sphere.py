"""The earth as a sphere, good to half a percent: enough to tell places apart, and for nothing that is issued."""

import math

import numpy as np
from numpy.typing import NDArray

#: Metres.
RADIUS = 6_371_000.0
#: Metres in a degree of a great circle.
DEGREE = RADIUS * math.pi / 180.0
#: Metres from the earth's centre between which all its surface lies: it is an ellipsoid of 6,357 to 6,378 km.
LEAST_RADIUS, MOST_RADIUS = 6.3e6, 6.4e6


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


def are_geocentric(x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64]) -> bool:
    """Tell whether (n,) coordinates are metres from the earth's centre to places near its surface, all that are there.

    A northing may be as long as the earth's radius, but no height is: within 10 km of the equator it cannot be told.
    """
    radius = np.sqrt(x**2 + y**2 + z**2)
    known = np.isfinite(radius)
    there = (radius > LEAST_RADIUS) & (radius < MOST_RADIUS) & (np.abs(z) > 10_000.0)
    return bool(known.any() and there[known].all())
