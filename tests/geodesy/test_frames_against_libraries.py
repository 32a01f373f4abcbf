"""Frames against independent libraries at random places, and their properties."""

import geodepy.constants
import geodepy.convert
import geodepy.transform
import numpy as np
import pymap3d
import pytest
from geographiclib.geodesic import Geodesic

from pipeline.geodesy import frames
from pipeline.geodesy.frames import GRS80, WGS84


@pytest.fixture
def places() -> np.ndarray:
    """Longitude, latitude, height of 500 random places, read-only."""
    rng = np.random.default_rng(20260302)
    some = np.array([rng.uniform(-180, 180, 500), rng.uniform(-89.9, 89.9, 500), rng.uniform(-400, 9000, 500)])
    some.setflags(write=False)
    return some


def test_geocentric_is_pymap3ds(places: np.ndarray) -> None:
    """X, Y, Z agree with pymap3d's to a tenth of a micrometre."""
    theirs = pymap3d.geodetic2ecef(places[1], places[0], places[2], pymap3d.Ellipsoid.from_name("grs80"))
    np.testing.assert_allclose(frames.to_geocentric(*places, GRS80), theirs, rtol=0, atol=1e-7)


def test_geographic_is_geodepys(places: np.ndarray) -> None:
    """Longitude, latitude and height of X, Y, Z agree with GeodePy's."""
    xyz = np.array(frames.to_geocentric(*places, GRS80))
    ours = np.array(frames.to_geographic(*xyz, GRS80))
    theirs = np.array([geodepy.convert.xyz2llh(*point) for point in xyz.T[:50]]).T
    np.testing.assert_allclose(ours[0, :50], theirs[1].astype(float), rtol=0, atol=1e-9)
    np.testing.assert_allclose(ours[1, :50], theirs[0].astype(float), rtol=0, atol=1e-9)
    np.testing.assert_allclose(ours[2, :50], theirs[2].astype(float), rtol=0, atol=1e-3)  # its iteration stops early


def test_round_trip(places: np.ndarray) -> None:
    """There and back is 1e-13 degrees and a nanometre or two, on the whole earth."""
    back = frames.to_geographic(*frames.to_geocentric(*places, WGS84), WGS84)
    np.testing.assert_allclose(back[0], places[0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(back[1], places[1], rtol=0, atol=1e-12)
    np.testing.assert_allclose(back[2], places[2], rtol=0, atol=5e-9)


def test_poles_and_seam() -> None:
    """The closed forms hold at the poles and on the 180th meridian."""
    lon, lat, height = frames.to_geographic([0.0, 0.0], [0.0, 0.0], [WGS84.b + 10.0, -WGS84.b - 10.0], WGS84)
    np.testing.assert_allclose(lat, [90.0, -90.0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(height, [10.0, 10.0], rtol=0, atol=1e-8)
    assert np.isfinite(lon).all()
    x, y, _ = frames.to_geocentric(180.0, 0.0, 0.0, WGS84)
    assert x == -WGS84.a
    assert abs(y) < 1e-8


def test_unknown_in_one_is_unknown_in_all() -> None:
    """A NaN in any input, or a latitude beyond the pole, is a NaN in all three outputs."""
    out = np.array(
        frames.to_geocentric([np.nan, 1.0, 1.0, 1.0], [1.0, np.nan, 1.0, 90.5], [1.0, 1.0, np.nan, 0.0], GRS80)
    )
    assert np.isnan(out).all()
    assert np.isnan(frames.to_geographic([np.nan, 1e6], [0.0, np.nan], [6e6, 6e6], GRS80)).all()


def test_local_vectors_are_pymap3ds(places: np.ndarray) -> None:
    """East, north, up of geocentric vectors agree with pymap3d's, and turn back."""
    vectors = np.random.default_rng(3).normal(size=(500, 3)) * 1e4
    vectors.setflags(write=False)
    ours = frames.geocentric_to_local(vectors, places[0], places[1])
    theirs = np.column_stack(pymap3d.ecef2enuv(*vectors.T, places[1], places[0]))
    np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-8)
    np.testing.assert_allclose(frames.local_to_geocentric(ours, places[0], places[1]), vectors, rtol=0, atol=1e-8)


def test_covariances_are_geodepys(places: np.ndarray) -> None:
    """Covariances turned place by place agree with GeodePy's, and stay symmetric."""
    factors = np.random.default_rng(5).normal(size=(500, 3, 3))
    cov = factors @ np.swapaxes(factors, 1, 2)
    cov.setflags(write=False)
    rotation = frames.enu_rotation(places[0], places[1])
    ours = frames.rotate_covariance(cov, rotation)
    for k in range(0, 500, 25):
        theirs = geodepy.transform.vcv_cart2local(cov[k], places[1, k], places[0, k])
        np.testing.assert_allclose(ours[k], theirs, rtol=0, atol=1e-12)
    np.testing.assert_allclose(frames.rotate_covariance(ours, np.swapaxes(rotation, -1, -2)), cov, rtol=0, atol=1e-12)


def test_local_variances_are_geodepys(places: np.ndarray) -> None:
    """East, north, up and east with north agree with GeodePy's matrices, whichever covariance is a place's."""
    factors = np.random.default_rng(6).normal(size=(7, 3, 3))
    cov = factors @ np.swapaxes(factors, 1, 2)
    which = np.random.default_rng(7).integers(0, 7, 500)
    for given in (cov, which, places):
        given.setflags(write=False)
    found = np.array(frames.local_variances(cov, which, *places[:2]))
    for k in range(0, 500, 5):
        theirs = geodepy.transform.vcv_cart2local(cov[which[k]], places[1, k], places[0, k])
        np.testing.assert_allclose(found[:, k], theirs[[0, 1, 2, 0], [0, 1, 2, 1]], rtol=0, atol=1e-12)


def test_rotation_is_orthogonal(places: np.ndarray) -> None:
    """Rows are unit vectors at right angles, east, north, up right-handed; a scalar place gives one matrix."""
    rotation = frames.enu_rotation(places[0], places[1])
    np.testing.assert_allclose(
        rotation @ np.swapaxes(rotation, 1, 2), np.broadcast_to(np.eye(3), (500, 3, 3)), atol=1e-15
    )
    np.testing.assert_allclose(np.linalg.det(rotation), 1.0, rtol=0, atol=1e-14)
    assert frames.enu_rotation(5.0, 55.0).shape == (3, 3)


def test_short_vectors_are_geodesics() -> None:
    """A metre to the north-east on the geodesic (geographiclib) is a metre of local vector at the same azimuth."""
    line = Geodesic.WGS84.Direct(-36.9, 174.8, 30.0, 1.0)
    ends = np.array(frames.to_geocentric([174.8, line["lon2"]], [-36.9, line["lat2"]], [0.0, 0.0], WGS84))
    local = frames.geocentric_to_local(ends[:, 1] - ends[:, 0], 174.8, -36.9)
    np.testing.assert_allclose(local, [0.5, np.sqrt(0.75), 0.0], rtol=0, atol=1e-6)
