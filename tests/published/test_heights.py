"""Published heights through real geoid grids, and two regressions. A test skips where the grids are not beside."""

import csv
import struct
from pathlib import Path

import numpy as np
import pytest

from pipeline.geodesy.area import Area
from pipeline.geodesy.operations import (
    Frame,
    raw_to_working,
    register_to_working,
    working_to_geographic,
    working_to_issued,
)

GREAT_BRITAIN = Area(-7.0, 50.0, 1.75, 58.7)
NETHERLANDS = Area(3.5, 51.0, 7.0, 53.5)


def issued(crs: str, grid: str, height: str, area: Area, lon: object, lat: object, h: object) -> np.ndarray:
    """Go the pipeline's way: raw to X, Y, Z, and on to easting, northing and height."""
    place = raw_to_working(crs, grid, area, height=height).forward(lon, lat, h)
    return np.array(working_to_issued(grid, height, area).forward(*place))


def test_ordnance_survey_points(real_grids: Path) -> None:
    """OSTN15 and OSGM15: the developer pack's 40 test points, read in the test folder of thruston/grid-banger.

    The definitive model is bilinear on a 1 km grid; PROJ's files are NTv2 and a reprojected geoid: up to 8 and 2 mm.
    """
    with (real_grids / "uk_os_test_points.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 40

    def column(name: str) -> np.ndarray:
        return np.array([float(row[name]) for row in rows])

    found = issued(
        "EPSG:4937",
        "EPSG:27700",
        "EPSG:5701",
        GREAT_BRITAIN,
        column("etrs89_lon_deg"),
        column("etrs89_lat_deg"),
        column("ellipsoidal_height_m"),
    )
    np.testing.assert_allclose(found[0], column("osgb_east_m"), rtol=0, atol=8e-3)
    np.testing.assert_allclose(found[1], column("osgb_north_m"), rtol=0, atol=8e-3)
    np.testing.assert_allclose(found[2], column("ortho_height_m"), rtol=0, atol=2.05e-3)


def test_ordnance_survey_guide(real_grids: Path) -> None:
    """ETRS89 to the national grid: A guide to coordinate systems in Great Britain, later edition; PHPCoord's tests."""
    found = issued("EPSG:4937", "EPSG:27700", "ellipsoid", GREAT_BRITAIN, 1.716073972, 52.658007833, 24.7)
    np.testing.assert_allclose(found[:2], [651409.804, 313177.450], rtol=0, atol=5e-3)


@pytest.mark.parametrize(
    ("lon", "lat", "h", "x", "y", "height"),
    [
        (4.712120126, 51.728601274, 301.7981, 108360.8790, 415757.2745, 258.0057),
        (4.069800843, 52.763874938, 115.9049, 66080.2628, 531539.0239, 73.2384),
    ],
)
def test_rdnaptrans(real_grids: Path, lon: float, lat: float, h: float, x: float, y: float, height: float) -> None:
    """RDNAPTRANS2018: NSGI's self-validation points 30010000 and 30010021, within NSGI's own limit of 1 mm."""
    found = issued("EPSG:4937", "EPSG:28992", "EPSG:5709", NETHERLANDS, lon, lat, h)
    np.testing.assert_allclose(found, [x, y, height], rtol=0, atol=1e-3)


def test_rdnaptrans_plan(real_grids: Path) -> None:
    """A third self-validation point, which is published in plan only."""
    found = issued("EPSG:4937", "EPSG:28992", "ellipsoid", NETHERLANDS, 6.05939747, 53.199392335, 0.0)
    np.testing.assert_allclose(found[:2], [199920.0426, 579403.4233], rtol=0, atol=1e-3)


@pytest.mark.parametrize(
    ("crs", "grid", "height", "lon", "lat", "h", "published"),
    [
        # PHPCoord's tests: NAP alone, on an ETRS89 grid
        pytest.param("EPSG:4937", "EPSG:25831", "EPSG:5709", 5.049883673, 51.825323002, 3.4374, -40.1293, id="nap"),
        # PHPCoord's tests
        pytest.param("EPSG:4937", "EPSG:25832", "EPSG:5941", 10.666611, 59.964611, 0.0, -39.3902, id="nn2000"),
        pytest.param("EPSG:4937", "EPSG:25833", "EPSG:9274", 16.29473899, 48.27091391, 0.0, -44.8984, id="austria"),
        # computed from the grid, not published: a regression
        pytest.param("EPSG:6319", "EPSG:6566", "EPSG:6641", -66.1, 18.4, 0.0, 41.7614, id="puerto-rico"),
    ],
)
def test_national_geoid(
    real_grids: Path, crs: str, grid: str, height: str, lon: float, lat: float, h: float, published: float
) -> None:
    """One point of a national height datum each, to 0.1 mm."""
    found = issued(crs, grid, height, Area.from_degrees(lon, lat), lon, lat, h)
    assert found[2] == pytest.approx(published, rel=0, abs=1e-4)


#: NGA's EGM96 test input and output, read in many public tests: latitude, longitude, separation.
EGM96 = np.array(
    [
        [38.628155, 269.779155, -31.628],
        [-14.621217, 305.021114, -2.969],
        [46.874319, 102.448729, -43.575],
        [-23.617446, 133.874712, 15.871],
        [38.625473, 359.9995, 50.066],
        [-0.466744, 0.0023, 17.329],
    ]
)


def test_egm96(real_grids: Path) -> None:
    """Separations over the whole earth; PROJ is bilinear where NGA has a spline: 6 cm."""
    world = Area(-180.0, -60.0, 180.0, 60.0)
    lat, lon, separation = EGM96.T
    found = issued("EPSG:4979", "EPSG:3395", "EPSG:5773", world, lon, lat, np.zeros(6))
    np.testing.assert_allclose(-found[2], separation, rtol=0, atol=0.06)
    # GeographicLib's manual page: 28.7068 from the 5' grid, cubic
    found = issued("EPSG:4979", "EPSG:3395", "EPSG:5773", world, -(3 + 34 / 3600), 16 + 46 / 60 + 33 / 3600, 0.0)
    assert -found[2] == pytest.approx(28.7068, rel=0, abs=0.01)


def test_egm96_seam(real_grids: Path) -> None:
    """One height at longitudes -180 and 180, in an area that crosses that meridian (regression: -4.00076)."""
    seam = Area(179.0, 19.0, -179.0, 21.0)
    found = issued("EPSG:4979", "EPSG:3395", "EPSG:5773", seam, [-180.0, 180.0], [20.0, 20.0], [0.0, 0.0])
    assert found[2, 0] == found[2, 1] == pytest.approx(-4.00076, rel=0, abs=1e-5)


#: GSI's calculator, as listed in OSGeo/PROJ-data jp_gsi_README.txt: latitude, longitude, separation.
GSIGEO2011 = np.array(
    [
        [34.290, 135.630, 39.8601],
        [36.103, 140.087, 40.1817],
        [43.217, 143.129, 30.6389],
        [38.675, 139.886, 40.1281],
        [36.344, 137.654, 42.8956],
        [33.179, 130.063, 32.3036],
        [39.801, 141.322, 41.8862],
    ]
)


def test_gsigeo2011(real_grids: Path) -> None:
    """The sharpest geoid check: seven separations to 0.1 mm."""
    lat, lon, separation = GSIGEO2011.T
    japan = Area(130.0, 33.0, 144.0, 44.0)
    found = issued("EPSG:6667", "EPSG:6677", "EPSG:6695", japan, lon, lat, np.full(7, 100.0))
    np.testing.assert_allclose(100.0 - found[2], separation, rtol=0, atol=1e-4)


@pytest.mark.parametrize(
    ("lon", "lat", "h", "ahd"),
    [
        (144 + 25 / 60 + 29.52442 / 3600, -(37 + 57 / 60 + 3.72030 / 3600), 350.948, 347.200),
        (143 + 55 / 60 + 35.38393 / 3600, -(37 + 39 / 60 + 10.15611 / 3600), 749.855, 744.986),
    ],
)
def test_named_ausgeoid98(grids_folder: Path, lon: float, lat: float, h: float, ahd: float) -> None:
    """Flinders Peak and Buninyong (GDA technical manual, bicubic): a grid that PROJ does not choose, so named."""
    area, geoid = Area.from_degrees(lon, lat), grids_folder / "au_ga_AUSGeoid98.tif"
    place = raw_to_working("EPSG:4939", "EPSG:28355", area).forward(lon, lat, h)
    operation = working_to_issued("EPSG:28355", "EPSG:5711", area, geoid)
    assert operation.forward(*place)[2] == pytest.approx(ahd, rel=0, abs=2e-3)
    # the hash is listed beside the grid
    assert operation.grids[0].sha256 == "66f560291721f662dc3975883b140ddcc6ed131a7c9f58539d4ca1dcbd6e6c53"


def test_raf20_from_a_height_datum(real_grids: Path) -> None:
    """A compound source goes through its geoid: OSGeo/PROJ test/gie/epsg_grid.gie, H 0 is h 49.6904."""
    france = Area(2.0, 43.0, 5.0, 49.0)
    place = raw_to_working("EPSG:9785", "EPSG:9794", france).forward(3.8761, 43.6109, 0.0)
    assert working_to_geographic("EPSG:9794").forward(*place)[2] == pytest.approx(49.6904, rel=0, abs=1e-4)


def test_raf20_to_a_height_datum(real_grids: Path) -> None:
    """The other way, PHPCoord's tests: h 50 is H 6.187."""
    found = issued("EPSG:9781", "EPSG:9794", "EPSG:5720", Area(2.0, 43.0, 5.0, 49.0), 2.2945, 48.858222, 50.0)
    assert found[2] == pytest.approx(6.187, rel=0, abs=1e-3)


def test_offset_grid_by_name(grids_folder: Path) -> None:
    """Auckland 1946 to NZVD2016, the relation grid named as if it were a geoid: 10 gives 9.7249 (regression)."""
    area, grid = Area(174.5, -37.2, 175.2, -36.5), grids_folder / "nz_linz_auckht1946-nzvd2016.tif"
    place = working_to_geographic("EPSG:2193").inverse(174.8, -36.9, 10.0)
    operation = working_to_issued("EPSG:2193", "EPSG:7839", area, grid)
    found = operation.forward(*place)
    assert found[2] == pytest.approx(9.7249, rel=0, abs=1e-4)
    register = register_to_working(
        Frame("EPSG:2193", "EPSG:7839"), target=Frame("EPSG:2193", "EPSG:7839"), geoid=grid, area=area
    )
    np.testing.assert_allclose(register.forward(*found), place, rtol=0, atol=1e-6)


def write_gtx(path: Path, west: float, south: float, step: float, values: np.ndarray) -> Path:
    """Write a GTX grid: header south, west, steps, rows, columns; rows from the south, big-endian floats."""
    header = struct.pack(">4d2i", south, west, step, step, *values.shape)
    path.write_bytes(header + values.astype(">f4").tobytes())
    return path


def test_offset_datum_arithmetic(tmp_path: Path) -> None:
    """LINZ NZGeoid05 readme: h 120.660, N 34.5516, offset 0.496 is H 86.6044 = h - N + offset; a GTX of N - offset."""
    lon, lat = 174 + 59 / 60 + 31.29868 / 3600, -(36 + 58 / 60 + 25.78152 / 3600)
    geoid = write_gtx(tmp_path / "local geoid.gtx", 174.0, -38.0, 0.5, np.full((5, 5), 34.5516 - 0.496))
    area = Area.from_degrees(lon, lat)
    place = raw_to_working("EPSG:4959", "EPSG:2193", area).forward(lon, lat, 120.660)
    found = working_to_issued("EPSG:2193", "EPSG:5759", area, geoid).forward(*place)
    assert found[2] == pytest.approx(86.6044, rel=0, abs=5e-5)


@pytest.mark.parametrize("crs", ["EPSG:2193", "EPSG:4167", "EPSG:4326"])
def test_a_geoid_of_ones_own_serves_heights_of_a_related_datum(crs: str, real_grids: Path, tmp_path: Path) -> None:
    """Auckland 1946 to NZVD2016 at the place above is 10 to 9.7249; with N = 30 everywhere that is 39.7249.

    For a register and an export, in the grid's datum and in another (WGS 84, which PROJ takes for the same place).
    """
    geoid = write_gtx(tmp_path / "own.gtx", 174.0, -38.0, 0.5, np.full((5, 5), 30.0))
    area = Area(174.5, -37.2, 175.2, -36.5)
    east, north, _ = 174.8, -36.9, 0.0
    if crs == "EPSG:2193":
        place = working_to_geographic("EPSG:2193").inverse(174.8, -36.9, 0.0)
        east, north, _ = working_to_issued("EPSG:2193", "ellipsoid", area).forward(*place)
    for operation in (
        register_to_working(Frame(crs, "EPSG:5759"), target=Frame("EPSG:2193", "EPSG:7839"), geoid=geoid, area=area),
        raw_to_working(f"{crs}+5759", "EPSG:2193", area, height="EPSG:7839", geoid=geoid),
    ):
        found = working_to_geographic("EPSG:2193").forward(*operation.forward(east, north, 10.0))
        np.testing.assert_allclose(np.ravel(found), [174.8, -36.9, 39.7249], rtol=0, atol=1e-4)
        assert {grid.name for grid in operation.grids} == {"nz_linz_auckht1946-nzvd2016.tif", "own.gtx"}
        back = np.ravel(operation.inverse(*operation.forward(east, north, 10.0)))
        np.testing.assert_allclose(back, np.ravel([east, north, 10.0]), rtol=0, atol=1e-5)


def test_a_geoid_of_ones_own_serves_exports_with_heights_of_its_datum(tmp_path: Path) -> None:
    """H 10 with N = 30 is an ellipsoidal height of 40, and comes out as it went in; no grid of PROJ's is asked for."""
    geoid = write_gtx(tmp_path / "own.gtx", 174.0, -38.0, 0.5, np.full((5, 5), 30.0))
    area = Area(174.5, -37.2, 175.2, -36.5)
    operation = raw_to_working("EPSG:4167+7839", "EPSG:2193", area, height="EPSG:7839", geoid=geoid)
    place = operation.forward(174.8, -36.9, 10.0)
    assert working_to_geographic("EPSG:2193").forward(*place)[2] == pytest.approx(40.0, rel=0, abs=1e-6)
    issued = working_to_issued("EPSG:2193", "EPSG:7839", area, geoid).forward(*place)
    assert issued[2] == pytest.approx(10.0, rel=0, abs=1e-6)
