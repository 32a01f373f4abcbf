"""Geographic, geocentric and local east-north-up frames. Degrees and metres at the interfaces; arrays broadcast.

Symbols: a semi-major axis [m], f flattening [-], e2 = f (2 - f) first eccentricity squared [-], N radius of curvature
in the prime vertical [m].
"""

from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from pipeline.arrays import Floats, Integers

#: Each round of Bowring's iteration gains about five digits near the earth's surface; three reach the last bit.
_ROUNDS = 3

#: Rows and columns of the six entries that a covariance has apart: XX, YY, ZZ, XY, XZ, YZ.
_ENTRIES = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))


class Ellipsoid(Struct, frozen=True):
    """An ellipsoid of revolution: semi-major axis ``a`` [m] and flattening ``f`` [-]."""

    a: float
    f: float

    @property
    def b(self) -> float:
        """Semi-minor axis, a (1 - f) [m]."""
        return self.a * (1.0 - self.f)

    @property
    def e2(self) -> float:
        """First eccentricity squared, f (2 - f) [-]."""
        return self.f * (2.0 - self.f)


GRS80 = Ellipsoid(6378137.0, 1.0 / 298.257222101)
WGS84 = Ellipsoid(6378137.0, 1.0 / 298.257223563)


def to_geocentric(
    lon: ArrayLike, lat: ArrayLike, height: ArrayLike, ellipsoid: Ellipsoid
) -> tuple[Floats, Floats, Floats]:
    """Return X, Y, Z (n,) [m] of longitude and latitude [deg] and ellipsoidal height [m]; EPSG method 9602.

    X = (N + h) cos(lat) cos(lon), Y = (N + h) cos(lat) sin(lon), Z = (N (1 - e2) + h) sin(lat).
    Latitudes beyond 90 degrees come out as NaN; a NaN in any input is a NaN in all three outputs.
    """
    lam, phi = np.radians(_floats(lon)), np.radians(_floats(lat))
    h = _floats(height)
    sin_phi = np.sin(phi)
    normal = ellipsoid.a / np.sqrt(1.0 - ellipsoid.e2 * sin_phi**2)
    # what is unknown in one component makes the whole position unknown
    normal = np.where(np.isfinite(lam + h) & (np.abs(phi) <= np.pi / 2), normal, np.nan)
    across = (normal + h) * np.cos(phi)
    return across * np.cos(lam), across * np.sin(lam), (normal * (1.0 - ellipsoid.e2) + h) * sin_phi


def to_geographic(x: ArrayLike, y: ArrayLike, z: ArrayLike, ellipsoid: Ellipsoid) -> tuple[Floats, Floats, Floats]:
    """Return longitude and latitude [deg] and ellipsoidal height [m] of X, Y, Z [m]; EPSG method 9602, inverse.

    Bowring's iteration on the reduced latitude u: tan(lat) = (Z + e'2 b sin3(u)) / (p - e2 a cos3(u)) with
    e'2 = e2 / (1 - e2) and p the distance from the axis (B. R. Bowring, Survey Review 23, 1976, from memory). Meant for
    places near the earth's surface; the height, p cos(lat) + Z sin(lat) - a2 / N, is good at the poles too.
    """
    x, y, z = np.broadcast_arrays(_floats(x), _floats(y), _floats(z))
    a, b, e2 = ellipsoid.a, ellipsoid.b, ellipsoid.e2
    p = np.hypot(x, y)
    u = np.arctan2(z * a, p * b)
    phi = u
    for _ in range(_ROUNDS):
        phi = np.arctan2(z + e2 / (1.0 - e2) * b * np.sin(u) ** 3, p - e2 * a * np.cos(u) ** 3)
        u = np.arctan2((1.0 - ellipsoid.f) * np.sin(phi), np.cos(phi))
    sin_phi = np.sin(phi)
    height = p * np.cos(phi) + z * sin_phi - a * np.sqrt(1.0 - e2 * sin_phi**2)
    known = np.isfinite(height)
    lon, lat = np.degrees(np.arctan2(y, x)), np.degrees(phi)
    return np.where(known, lon, np.nan), np.where(known, lat, np.nan), np.where(known, height, np.nan)


def enu_rotation(lon: ArrayLike, lat: ArrayLike) -> Floats:
    """Return the (n, 3, 3) rotations from X, Y, Z to east, north, up (rows) at longitude, latitude [deg].

    The matrix R of EPSG methods 9836 and 9837. Scalars give shape (3, 3).
    """
    lam, phi = np.broadcast_arrays(np.radians(_floats(lon)), np.radians(_floats(lat)))
    sin_l, cos_l, sin_p, cos_p = np.sin(lam), np.cos(lam), np.sin(phi), np.cos(phi)
    rotation = np.empty((*lam.shape, 3, 3))
    rotation[..., 0, 0], rotation[..., 0, 1], rotation[..., 0, 2] = -sin_l, cos_l, 0.0
    rotation[..., 1, 0], rotation[..., 1, 1], rotation[..., 1, 2] = -sin_p * cos_l, -sin_p * sin_l, cos_p
    rotation[..., 2, 0], rotation[..., 2, 1], rotation[..., 2, 2] = cos_p * cos_l, cos_p * sin_l, sin_p
    return rotation


def geocentric_to_local(vector: ArrayLike, lon: ArrayLike, lat: ArrayLike) -> Floats:
    """Return the geocentric vectors (n, 3) [m] as east, north, up (n, 3) [m] at longitude, latitude [deg]."""
    return turn(vector, enu_rotation(lon, lat))


def local_to_geocentric(vector: ArrayLike, lon: ArrayLike, lat: ArrayLike) -> Floats:
    """Return the east, north, up vectors (n, 3) [m] at longitude, latitude [deg] as geocentric ones (n, 3) [m]."""
    return turn(vector, np.swapaxes(enu_rotation(lon, lat), -1, -2))


def turn(vector: ArrayLike, rotation: ArrayLike) -> Floats:
    """Return R v for vectors (n, 3) and rotations (n, 3, 3); one vector or one rotation serves all."""
    turned: Floats = np.einsum("...ij,...j->...i", _floats(rotation), _floats(vector))
    return turned


def rotate_covariance(cov: ArrayLike, rotation: ArrayLike) -> Floats:
    """Return R C R' (n, 3, 3) [m2] for covariances (n, 3, 3) and rotations (n, 3, 3).

    With `enu_rotation` this takes X, Y, Z covariances to east, north, up; with its transpose it takes them back.
    """
    r = _floats(rotation)
    turned: Floats = r @ _floats(cov) @ np.swapaxes(r, -1, -2)
    return turned


def local_variances(cov: Floats, which: Integers, lon: Floats, lat: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return (n,) variances east, north, up and covariances east with north [m2]: what many points need of R C R'.

    As `rotate_covariance` with `enu_rotation`, entry by entry, without a matrix for each point.

    Args:
        cov: (m, 3, 3) covariances of X, Y, Z, square metres.
        which: (n,) which of them is each point's.
        lon: (n,) longitudes, degrees.
        lat: (n,) latitudes, degrees.
    """
    xx, yy, zz, xy, xz, yz = (cov[:, row, column][which] for row, column in _ENTRIES)
    lam, phi = np.radians(lon), np.radians(lat)
    sin_l, cos_l, sin_p, cos_p = np.sin(lam), np.cos(lam), np.sin(phi), np.cos(phi)
    # east, out of the axis, along the axis: north and up lie in the plane of the last two
    across = sin_l * cos_l
    east = sin_l * sin_l * xx - 2.0 * across * xy + cos_l * cos_l * yy
    out = cos_l * cos_l * xx + 2.0 * across * xy + sin_l * sin_l * yy
    east_out = across * (yy - xx) + (cos_l * cos_l - sin_l * sin_l) * xy
    east_axis, out_axis = cos_l * yz - sin_l * xz, cos_l * xz + sin_l * yz
    both = 2.0 * sin_p * cos_p * out_axis
    north = sin_p * sin_p * out - both + cos_p * cos_p * zz
    up = cos_p * cos_p * out + both + sin_p * sin_p * zz
    return east, north, up, cos_p * east_axis - sin_p * east_out


def _floats(values: Any) -> Floats:
    return np.asarray(values, dtype=np.float64)
