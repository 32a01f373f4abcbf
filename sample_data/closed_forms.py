"""The geodesy that the invented data is made with: closed forms in NumPy, on purpose not the pipeline's code nor PROJ.

Angles are degrees at the interfaces, lengths metres, easting before northing and longitude before latitude. All
functions take scalars or arrays that broadcast, and never write into their arguments.
"""

import struct
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ellipsoid:
    """A reference ellipsoid: semi-major axis ``a`` in metres and inverse flattening."""

    a: float
    inverse_flattening: float

    @property
    def e2(self) -> float:
        """First eccentricity squared, f (2 - f)."""
        f = 1 / self.inverse_flattening
        return f * (2 - f)

    @property
    def n(self) -> float:
        """Third flattening, f / (2 - f)."""
        f = 1 / self.inverse_flattening
        return f / (2 - f)


GRS80 = Ellipsoid(6378137.0, 298.257222101)
WGS84 = Ellipsoid(6378137.0, 298.257223563)


def to_geocentric(longitude: ArrayLike, latitude: ArrayLike, height: ArrayLike, ellipsoid: Ellipsoid) -> Floats:
    """Return (..., 3) X, Y, Z of ellipsoidal coordinates (EPSG method 9602)."""
    lam, phi, h = np.radians(longitude), np.radians(latitude), np.asarray(height, float)
    nu = ellipsoid.a / np.sqrt(1 - ellipsoid.e2 * np.sin(phi) ** 2)
    return np.stack(
        [
            (nu + h) * np.cos(phi) * np.cos(lam),
            (nu + h) * np.cos(phi) * np.sin(lam),
            (nu * (1 - ellipsoid.e2) + h) * np.sin(phi),
        ],
        axis=-1,
    )


def to_geographic(xyz: ArrayLike, ellipsoid: Ellipsoid) -> tuple[Floats, Floats, Floats]:
    """Return longitude, latitude and ellipsoidal height of (..., 3) X, Y, Z.

    Bowring's formula (Survey Review 181, 1976) for the reduced latitude, repeated: near the earth's surface one pass
    is good to a tenth of a micrometre, the second only makes sure. Not for points at the earth's centre.
    """
    x, y, z = np.moveaxis(np.asarray(xyz, float), -1, 0)
    a, e2 = ellipsoid.a, ellipsoid.e2
    b = a * np.sqrt(1 - e2)
    p = np.hypot(x, y)
    beta = np.arctan2(z * a, p * b)
    for _ in range(2):
        phi = np.arctan2(z + e2 / (1 - e2) * b * np.sin(beta) ** 3, p - e2 * a * np.cos(beta) ** 3)
        beta = np.arctan2(b * np.sin(phi), a * np.cos(phi))
    # This form of the height holds at the poles too, where p / cos(latitude) does not.
    height = p * np.cos(phi) + z * np.sin(phi) - a * np.sqrt(1 - e2 * np.sin(phi) ** 2)
    return np.degrees(np.arctan2(y, x)), np.degrees(phi), height


def turn_enu(longitude: ArrayLike, latitude: ArrayLike, enu: ArrayLike) -> Floats:
    """Return (..., 3) X, Y, Z components of (..., 3) east, north, up vectors at a place (transpose of EPSG 9836)."""
    lam, phi = np.radians(longitude), np.radians(latitude)
    east, north, up = np.moveaxis(np.asarray(enu, float), -1, 0)
    outward = up * np.cos(phi) - north * np.sin(phi)
    return np.stack(
        [
            -east * np.sin(lam) + outward * np.cos(lam),
            east * np.cos(lam) + outward * np.sin(lam),
            north * np.cos(phi) + up * np.sin(phi),
        ],
        axis=-1,
    )


def move(
    longitude: ArrayLike, latitude: ArrayLike, height: ArrayLike, xyz: ArrayLike, ellipsoid: Ellipsoid
) -> tuple[Floats, Floats, Floats]:
    """Return longitude, latitude, height of places moved by (..., 3) geocentric vectors."""
    return to_geographic(to_geocentric(longitude, latitude, height, ellipsoid) + np.asarray(xyz, float), ellipsoid)


# Coefficients of the powers of n, from the first one that occurs up to n^6: L. Krueger 1912, carried to this order
# in C. F. F. Karney, "Transverse Mercator with an accuracy of a few nanometers", J. Geodesy 85 (2011), eq. 35 and 36.
_ALPHA = (
    (1 / 2, -2 / 3, 5 / 16, 41 / 180, -127 / 288, 7891 / 37800),
    (13 / 48, -3 / 5, 557 / 1440, 281 / 630, -1983433 / 1935360),
    (61 / 240, -103 / 140, 15061 / 26880, 167603 / 181440),
    (49561 / 161280, -179 / 168, 6601661 / 7257600),
    (34729 / 80640, -3418889 / 1995840),
    (212378941 / 319334400,),
)
_BETA = (
    (1 / 2, -2 / 3, 37 / 96, -1 / 360, -81 / 512, 96199 / 604800),
    (1 / 48, 1 / 15, -437 / 1440, 46 / 105, -1118711 / 3870720),
    (17 / 480, -37 / 840, -209 / 4480, 5569 / 90720),
    (4397 / 161280, -11 / 504, -830251 / 7257600),
    (4583 / 161280, -108847 / 3991680),
    (20648693 / 638668800,),
)


def _series(table: tuple[tuple[float, ...], ...], n: float) -> Floats:
    return np.array([sum(c * n ** (j + k) for k, c in enumerate(row)) for j, row in enumerate(table, start=1)])


@dataclass(frozen=True)
class TransverseMercator:
    """Krueger's transverse Mercator in powers of the third flattening, to the sixth (Karney 2011)."""

    ellipsoid: Ellipsoid
    central_meridian: float
    scale: float
    false_easting: float
    false_northing: float
    origin_latitude: float = 0.0

    @cached_property
    def _radius(self) -> float:
        n = self.ellipsoid.n
        return self.scale * self.ellipsoid.a / (1 + n) * (1 + n**2 / 4 + n**4 / 64 + n**6 / 256)

    @cached_property
    def _origin(self) -> float:
        return 0.0 if self.origin_latitude == 0 else float(self._plane(0.0, np.radians(self.origin_latitude))[1])

    def _conformal(self, tau: Floats) -> Floats:
        e = np.sqrt(self.ellipsoid.e2)
        sigma = np.sinh(e * np.arctanh(e * tau / np.hypot(1, tau)))
        return np.asarray(tau * np.hypot(1, sigma) - sigma * np.hypot(1, tau))

    def _plane(self, lam: ArrayLike, phi: ArrayLike) -> tuple[Floats, Floats]:
        t = self._conformal(np.tan(phi))
        xi = np.arctan2(t, np.cos(lam))
        eta = np.arcsinh(np.sin(lam) / np.hypot(t, np.cos(lam)))
        x, y = eta.copy(), xi.copy()
        for j, alpha in enumerate(_series(_ALPHA, self.ellipsoid.n), start=1):
            y += alpha * np.sin(2 * j * xi) * np.cosh(2 * j * eta)
            x += alpha * np.cos(2 * j * xi) * np.sinh(2 * j * eta)
        return self._radius * x, self._radius * y

    def forward(self, longitude: ArrayLike, latitude: ArrayLike) -> tuple[Floats, Floats]:
        """Return easting and northing."""
        lam = np.radians(np.asarray(longitude, float) - self.central_meridian)
        x, y = self._plane(lam, np.radians(np.asarray(latitude, float)))
        return self.false_easting + x, self.false_northing + y - self._origin

    def inverse(self, easting: ArrayLike, northing: ArrayLike) -> tuple[Floats, Floats]:
        """Return longitude and latitude."""
        eta_grid = (np.asarray(easting, float) - self.false_easting) / self._radius
        xi_grid = (np.asarray(northing, float) - self.false_northing + self._origin) / self._radius
        xi, eta = xi_grid.copy(), eta_grid.copy()
        for j, beta in enumerate(_series(_BETA, self.ellipsoid.n), start=1):
            xi -= beta * np.sin(2 * j * xi_grid) * np.cosh(2 * j * eta_grid)
            eta -= beta * np.cos(2 * j * xi_grid) * np.sinh(2 * j * eta_grid)
        lam = np.arctan2(np.sinh(eta), np.cos(xi))
        tau = self._latitude_tangent(np.sin(xi) / np.hypot(np.sinh(eta), np.cos(xi)))
        return self.central_meridian + np.degrees(lam), np.degrees(np.arctan(tau))

    def _latitude_tangent(self, conformal: Floats) -> Floats:
        # Newton's method as in Karney 2011, eq. 19 to 21; it doubles the digits at each step, so three are ample.
        e2, tau = self.ellipsoid.e2, conformal / (1 - self.ellipsoid.e2)
        for _ in range(4):
            t = self._conformal(tau)
            tau = tau + (conformal - t) / np.hypot(1, t) * (1 + (1 - e2) * tau**2) / ((1 - e2) * np.hypot(1, tau))
        return tau


NZTM2000 = TransverseMercator(GRS80, 173.0, 0.9996, 1_600_000.0, 10_000_000.0)


def utm(zone: int, south: bool, ellipsoid: Ellipsoid = GRS80) -> TransverseMercator:
    """Return the universal transverse Mercator grid of a zone (1 to 60)."""
    return TransverseMercator(ellipsoid, zone * 6.0 - 183.0, 0.9996, 500_000.0, 10_000_000.0 if south else 0.0)


@dataclass(frozen=True)
class Helmert:
    """Seven parameters, coordinate frame rotation (EPSG method 1032): metres, radians, scale difference as a ratio."""

    translation: tuple[float, float, float]
    rotation: tuple[float, float, float]
    scale: float

    @property
    def _matrix(self) -> Floats:
        rx, ry, rz = self.rotation
        return (1 + self.scale) * np.array([[1, rz, -ry], [-rz, 1, rx], [ry, -rx, 1]])

    def inverse(self, xyz: ArrayLike) -> Floats:
        """Return (..., 3) X, Y, Z in the source frame of (..., 3) X, Y, Z in the target frame."""
        moved = np.asarray(xyz, float) - np.array(self.translation)
        return np.linalg.solve(self._matrix, moved[..., None])[..., 0]


@dataclass(frozen=True)
class Geoid:
    """A grid of geoid separations (metres): ``values[row, column]``, rows from south, columns from west."""

    south: float
    west: float
    step_latitude: float
    step_longitude: float
    values: NDArray[np.float32]

    def separation(self, longitude: ArrayLike, latitude: ArrayLike) -> Floats:
        """Return the separation by bilinear interpolation; raises `ValueError` outside the grid."""
        x = (np.asarray(longitude, float) - self.west) / self.step_longitude
        y = (np.asarray(latitude, float) - self.south) / self.step_latitude
        rows, columns = self.values.shape
        if np.any((x < 0) | (y < 0) | (x > columns - 1) | (y > rows - 1)):
            raise ValueError("a place lies outside the geoid grid")
        column = np.minimum(np.floor(x).astype(int), columns - 2)
        row = np.minimum(np.floor(y).astype(int), rows - 2)
        u, v, grid = x - column, y - row, self.values.astype(float)
        low = (1 - u) * grid[row, column] + u * grid[row, column + 1]
        high = (1 - u) * grid[row + 1, column] + u * grid[row + 1, column + 1]
        return np.asarray((1 - v) * low + v * high)


# GTX: big-endian, south, west, step in latitude and in longitude as doubles, rows and columns as 32-bit integers,
# then 32-bit floats row by row from the south.
_GTX_HEAD = struct.Struct(">4d2i")


def read_gtx(path: Path) -> Geoid:
    """Return the geoid grid of a GTX file."""
    data = path.read_bytes()
    south, west, step_latitude, step_longitude, rows, columns = _GTX_HEAD.unpack_from(data)
    values = np.frombuffer(data, ">f4", rows * columns, _GTX_HEAD.size).astype(np.float32)
    return Geoid(south, west, step_latitude, step_longitude, values.reshape(rows, columns))


def write_gtx(geoid: Geoid, path: Path) -> None:
    """Write a geoid grid as a GTX file."""
    rows, columns = geoid.values.shape
    head = _GTX_HEAD.pack(geoid.south, geoid.west, geoid.step_latitude, geoid.step_longitude, rows, columns)
    path.write_bytes(head + geoid.values.astype(">f4").tobytes())
