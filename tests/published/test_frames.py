"""Published values for geographic, geocentric and topocentric coordinates. The source stands beside each value."""

import numpy as np
import pytest

from pipeline.geodesy import frames, uncertainty
from pipeline.geodesy.frames import GRS80, WGS84, Ellipsoid
from pipeline.geodesy.transform import Operation


def degrees(degree: float, minute: float, second: float) -> float:
    """Degrees, minutes, seconds to degrees; the sign is the whole angle's, given on the degrees."""
    size = abs(degree) + minute / 60.0 + second / 3600.0
    return -size if degree < 0 else size


#: IOGP 373-7-2 (EPSG method 9602), digits read in OSGeo/PROJ test/gie/builtins.gie.
IOGP_LON, IOGP_LAT, IOGP_H = degrees(2, 7, 46.380), degrees(53, 48, 33.820), 73.0
IOGP_XYZ = np.array([3771793.968, 140253.342, 5124304.349])

GEOCENTRIC = [
    # IOGP 373-7-2, EPSG method 9602; OSGeo/PROJ test/gie/builtins.gie. Three decimals are printed.
    pytest.param(WGS84, IOGP_LON, IOGP_LAT, IOGP_H, IOGP_XYZ, 5e-4, id="iogp-9602"),
    # OSGeo/PROJ test/gie/epsg_no_grid.gie
    pytest.param(WGS84, 12.0, 55.0, 10.0, [3586475.2672, 762328.8513, 5201391.7147], 1e-4, id="proj-55-12"),
    # GDA technical manual, read in a public test set that quotes it
    pytest.param(
        GRS80,
        degrees(144, 25, 29.52442),
        degrees(-37, 57, 3.72030),
        350.948,
        [-4096088.424, 2929823.08435, -3901375.4540],
        5e-4,
        id="flinders-peak",
    ),
    pytest.param(
        GRS80,
        degrees(143, 55, 35.38393),
        degrees(-37, 39, 10.15611),
        749.855,
        [-4087103.458, 2977473.0435, -3875464.7525],
        5e-4,
        id="buninyong",
    ),
    # GeodePy's own tests (Geoscience Australia)
    pytest.param(
        GRS80,
        degrees(144, 58, 16.44114),
        degrees(-37, 48, 26.67598),
        39.6514,
        [-4131654.2815, 2896107.9738, -3888601.3067],
        2e-4,
        id="geodepy",
    ),
]


@pytest.mark.parametrize(("ellipsoid", "lon", "lat", "height", "xyz", "tolerance"), GEOCENTRIC)
def test_geographic_to_geocentric(
    ellipsoid: Ellipsoid, lon: float, lat: float, height: float, xyz: list[float], tolerance: float
) -> None:
    """Each published X, Y, Z comes out to the digits printed."""
    found = frames.to_geocentric(lon, lat, height, ellipsoid)
    np.testing.assert_allclose(found, xyz, rtol=0, atol=tolerance)


def test_geocentric_to_geographic() -> None:
    """The IOGP example the other way: 0.00002 of a second and 0.1 mm (what three decimals of X, Y, Z leave)."""
    lon, lat, height = frames.to_geographic(*IOGP_XYZ, WGS84)
    assert abs(lon - IOGP_LON) * 3600 < 2e-5
    assert abs(lat - IOGP_LAT) * 3600 < 2e-5
    assert height == pytest.approx(IOGP_H, rel=0, abs=1e-4)


#: IOGP 373-7-2 (October 2020), EPSG methods 9836 and 9837; OSGeo/PROJ test/gie/builtins.gie.
TOPOCENTRIC = [-189013.869, -128642.040, -4220.171]
ORIGIN = np.array([3652755.3058, 319574.6799, 5201547.3536])


def test_geocentric_to_topocentric() -> None:
    """EPSG 9836: east, north and up of a geocentric vector at 55 N 5 E."""
    local = frames.geocentric_to_local(IOGP_XYZ - ORIGIN, 5.0, 55.0)
    np.testing.assert_allclose(local, TOPOCENTRIC, rtol=0, atol=5e-4)


def test_geographic_to_topocentric() -> None:
    """EPSG 9837: the same from geographic coordinates, origin and point."""
    origin = np.array(frames.to_geocentric(5.0, 55.0, 200.0, WGS84))
    point = np.array(frames.to_geocentric(IOGP_LON, IOGP_LAT, IOGP_H, WGS84))
    local = frames.geocentric_to_local(point - origin, 5.0, 55.0)
    np.testing.assert_allclose(local, TOPOCENTRIC, rtol=0, atol=5e-4)


def test_geocentric_translation() -> None:
    """EPSG 9603, WGS 84 to ED50: IOGP 373-7-2 section 2.4.4, digits read in Apache SIS's and PHPCoord's tests."""
    international = Ellipsoid(6378388.0, 1.0 / 297.0)
    lon, lat, height = frames.to_geographic(*(IOGP_XYZ + np.array([84.87, 96.49, 116.95])), international)
    assert abs(lon - degrees(2, 7, 51.477)) * 3600 < 1e-3
    assert abs(lat - degrees(53, 48, 36.565)) * 3600 < 1e-3
    assert height == pytest.approx(28.02, rel=0, abs=1e-2)


#: GeodePy's own tests.
VCV_XYZ = np.array([[1.44, -1.32, 1.32], [-1.32, 1.22, -1.20], [1.32, -1.20, 1.20]])
VCV_ENU = np.array(
    [
        [2.23971834, -1.86955194, 0.3599339],
        [-1.86955194, 1.55096504, -0.29615085],
        [0.3599339, -0.29615085, 0.06931662],
    ]
)


def test_covariance_turned_to_east_north_up_and_back() -> None:
    """The published covariance in X, Y, Z gives the published one in east, north, up, and comes back."""
    rotation = frames.enu_rotation(70.69315634, 19.4792453)
    local = frames.rotate_covariance(VCV_XYZ, rotation)
    np.testing.assert_allclose(local, VCV_ENU, rtol=0, atol=1e-7)
    np.testing.assert_allclose(
        frames.rotate_covariance(local, np.swapaxes(rotation, -1, -2)), VCV_XYZ, rtol=0, atol=1e-14
    )
    entries = frames.local_variances(VCV_XYZ[None], np.zeros(1, int), np.array([70.69315634]), np.array([19.4792453]))
    np.testing.assert_allclose(np.ravel(entries), VCV_ENU[[0, 1, 2, 0], [0, 1, 2, 1]], rtol=0, atol=1e-7)


def test_error_ellipse() -> None:
    """Semi-axes of the published ellipse (GeodePy's tests): first axis east, second north."""
    a, b = uncertainty.error_ellipse(VCV_XYZ[:2, :2])
    assert a == pytest.approx(1.6292867776, rel=0, abs=1e-9)
    assert b == pytest.approx(0.0736518590, rel=0, abs=1e-9)


@pytest.mark.parametrize(("ellipsoid", "lon", "lat", "height", "xyz", "tolerance"), GEOCENTRIC)
def test_proj_gives_the_same(
    ellipsoid: Ellipsoid, lon: float, lat: float, height: float, xyz: list[float], tolerance: float
) -> None:
    """The same published values through an Operation, so that its direction and axis order are held as well."""
    cart = f"proj=cart a={ellipsoid.a!r} f={ellipsoid.f!r}"
    operation = Operation("test", "9602", f"proj=pipeline step proj=unitconvert xy_in=deg xy_out=rad step {cart}", 0.0)
    np.testing.assert_allclose(operation.forward(lon, lat, height), xyz, rtol=0, atol=tolerance)
