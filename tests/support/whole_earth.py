"""Grids whose area of use goes all the way round the earth, for the simulator: Mercator and polar stereographic.

Snyder's formulas (Map Projections - A Working Manual, USGS Professional Paper 1395, 1987, equations 7-7 and 15-9).
"""

from dataclasses import dataclass

import numpy as np
from closed_forms import WGS84
from simulate_plan import Floats


def _conformal(latitude: Floats) -> Floats:
    """t of equation 15-9, by which all conformal projections of the ellipsoid go."""
    up = np.radians(latitude)
    eccentricity = np.sqrt(WGS84.e2)
    bent = eccentricity * np.sin(up)
    return np.tan(np.pi / 4.0 - up / 2.0) / ((1.0 - bent) / (1.0 + bent)) ** (eccentricity / 2.0)


@dataclass(frozen=True)
class Mercator:
    """World Mercator, EPSG:3395: true at the equator, no false origin."""

    def forward(self, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
        wrapped = (longitude + 180.0) % 360.0 - 180.0
        return WGS84.a * np.radians(wrapped), -WGS84.a * np.log(_conformal(latitude))


@dataclass(frozen=True)
class Stereographic:
    """Polar stereographic, true at a latitude; longitude ``down`` points to negative (north pole) northings."""

    true_at: float
    down: float

    def forward(self, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
        side = np.sign(self.true_at)
        true = np.radians(abs(self.true_at))
        narrow = np.cos(true) / np.sqrt(1.0 - WGS84.e2 * np.sin(true) ** 2)
        radius = WGS84.a * narrow * _conformal(side * latitude) / _conformal(np.array(abs(self.true_at)))
        turn = np.radians(longitude - self.down)
        return radius * np.sin(turn), -side * radius * np.cos(turn)
