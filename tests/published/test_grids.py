"""Published grid coordinates, each through the working frame: geographic to X, Y, Z to easting and northing.

Convergence, point scale and the geodesic of the same sources are not computed by the pipeline and so not tested.
"""

import numpy as np
import pytest

from pipeline.geodesy.area import Area
from pipeline.geodesy.operations import raw_to_working, working_to_issued
from pipeline.geodesy.own_places import lonlat


def degrees(degree: float, minute: float = 0.0, second: float = 0.0) -> float:
    size = abs(degree) + minute / 60.0 + second / 3600.0
    return -size if degree < 0 else size


FLINDERS = (degrees(144, 25, 29.52440), degrees(-37, 57, 3.72030))
BUNINYONG = (degrees(143, 55, 35.38390), degrees(-37, 39, 10.15610))
SITE = (degrees(144, 58, 16.44114), degrees(-37, 48, 26.67598))

PROJECTED = [
    # GDA technical manual v2.3 p. 46; GDA2020 manual tables 5.1 and C-1; GDA94 and GDA2020 alike
    pytest.param("EPSG:4939", "EPSG:28355", *FLINDERS, 273741.297, 5796489.777, 5e-4, id="mga94-55-flinders"),
    pytest.param("EPSG:7843", "EPSG:7855", *FLINDERS, 273741.297, 5796489.777, 5e-4, id="mga2020-55-flinders"),
    pytest.param("EPSG:4939", "EPSG:28355", *BUNINYONG, 228854.052, 5828259.038, 1e-3, id="mga94-55-buninyong"),
    # the digits that GeodePy's tests print for the same point
    pytest.param("EPSG:4939", "EPSG:28355", *BUNINYONG, 228854.0513, 5828259.0384, 2e-4, id="geodepy-buninyong"),
    pytest.param("EPSG:4939", "EPSG:28354", *BUNINYONG, 758173.797, 5828674.340, 5e-4, id="mga94-54-buninyong"),
    # GeodePy's tests
    pytest.param("EPSG:4939", "EPSG:28355", *SITE, 321405.5592, 5813614.1613, 2e-4, id="mga94-55-scale-below-one"),
    # Ordnance Survey, A guide to coordinate systems in Great Britain, annex C: projection alone
    pytest.param(
        "EPSG:4277",
        "EPSG:27700",
        degrees(1, 43, 4.5177),
        degrees(52, 39, 27.2531),
        651409.903,
        313177.270,
        5e-4,
        id="british-national-grid",
    ),
    # IOGP 373-7-2 (2019 pp. 54-55), EPSG 9807; the printed example is 6 to 8 mm off the exact projection
    pytest.param("EPSG:4277", "EPSG:27700", 0.5, 50.5, 577274.99, 69740.50, 1e-2, id="iogp-9807"),
    # OSGeo/PROJ test/gie/epsg_no_grid.gie
    pytest.param("EPSG:4937", "EPSG:25832", 12.0, 55.0, 691875.6321, 6098907.8250, 1e-4, id="utm-32"),
    # IOGP 373-7-2, EPSG 9801; GeoAPI conformance tests
    pytest.param(
        "EPSG:4242",
        "EPSG:24200",
        -degrees(76, 56, 37.26),
        degrees(17, 55, 55.80),
        255966.58,
        142493.51,
        5e-3,
        id="jamaica-lcc-1sp",
    ),
    # IOGP 373-7-2, EPSG 9809; PyRDNAP's tests
    pytest.param("EPSG:4289", "EPSG:28992", 6.0, 53.0, 196105.283, 557057.739, 5e-4, id="rd-oblique-stereographic"),
]


@pytest.mark.parametrize(("crs", "grid", "lon", "lat", "east", "north", "tolerance"), PROJECTED)
def test_projection(crs: str, grid: str, lon: float, lat: float, east: float, north: float, tolerance: float) -> None:
    """Each published easting and northing comes out, and the height goes through X, Y, Z unharmed."""
    area = Area.from_degrees(lon, lat)
    raw, issued = raw_to_working(crs, grid, area), working_to_issued(grid, "ellipsoid", area)
    assert raw.accuracy == issued.accuracy == 0.0
    found = issued.forward(*raw.forward(lon, lat, 123.456))
    np.testing.assert_allclose(found[:2], [east, north], rtol=0, atol=tolerance)
    assert found[2] == pytest.approx(123.456, rel=0, abs=1e-6)


#: LINZ's test points for its conversion program, nine decimals as read in a port of it.
NZTM = [
    (1576041.150, 6188574.240, 172.739193967, -34.444065991),
    (1576542.010, 5515331.050, 172.723105968, -40.512408980),
    (1307103.220, 4826464.860, 169.172062008, -46.651295012),
]


@pytest.mark.parametrize(("east", "north", "lon", "lat"), NZTM)
def test_nztm_inverse(east: float, north: float, lon: float, lat: float) -> None:
    """NZTM2000 to longitude and latitude, to the nine decimals (a tenth of a millimetre)."""
    found = lonlat("EPSG:2193", east, north, np.nan)
    np.testing.assert_allclose(found, [lon, lat], rtol=0, atol=2e-9)


US_SURVEY_FOOT = 1200.0 / 3937.0


@pytest.mark.parametrize(
    ("crs", "metric", "lon", "lat", "east", "north"),
    [
        # IOGP 373-7-2, EPSG 9802, Texas South Central NAD27
        pytest.param("EPSG:32040", "EPSG:26714", -96.0, 28.5, 2963503.91, 254759.80, id="texas"),
        # IOGP 373-7-2 (August 2018 p. 25), EPSG 1051, Michigan; OSGeo/PROJ test/gie/more_builtins.gie
        pytest.param("EPSG:6201", "EPSG:26716", -degrees(83, 10), 43.75, 2308335.75, 160210.48, id="michigan"),
    ],
)
def test_grid_in_us_survey_feet_takes_metres(
    crs: str, metric: str, lon: float, lat: float, east: float, north: float
) -> None:
    """A source grid that counts in feet is given in metres and scaled inside; height stays in metres."""
    feet = np.array([east, north])
    found = lonlat(crs, *(feet * US_SURVEY_FOOT), 10.0)
    np.testing.assert_allclose(found, [lon, lat], rtol=0, atol=2e-8)  # 0.005 ft
    operation = raw_to_working(crs, metric, Area.from_degrees(lon, lat))
    back = operation.inverse(*operation.forward(*(feet * US_SURVEY_FOOT), 10.0))
    np.testing.assert_allclose(back, [*(feet * US_SURVEY_FOOT), 10.0], rtol=0, atol=1e-6)


def test_height_carried_beside_the_projection() -> None:
    """LUREF: easting, northing and height of PHPCoord's tests."""
    lon, lat, area = degrees(5, 56, 16.1460), degrees(49, 34, 0.7381), Area(5.7, 49.4, 6.5, 50.2)
    place = raw_to_working("EPSG:4181", "EPSG:2169", area).forward(lon, lat, 328.061)
    found = working_to_issued("EPSG:2169", "ellipsoid", area).forward(*place)
    np.testing.assert_allclose(found, [63444.834, 70387.372, 328.061], rtol=0, atol=5e-4)
