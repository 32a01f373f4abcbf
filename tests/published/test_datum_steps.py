"""Published datum steps: seven and fourteen parameters, plate motion. Operations come from PROJ's database by code."""

import numpy as np
import pytest

from pipeline.geodesy.area import Area
from pipeline.geodesy.operations import raw_to_working, working_to_geographic, working_to_issued
from pipeline.geodesy.transform import Operation

ALICE = Area(133.0, -24.5, 134.5, -23.0)
MGA2020_53 = "EPSG:7853"


def test_gda94_to_gda2020_geocentric() -> None:
    """Station ALIC: GDA2020 technical manual 3.1.1, read in OSGeo/PROJ test/gie/GDA.gie and GeodePy's tests."""
    operation = raw_to_working("EPSG:4938", MGA2020_53, ALICE)
    found = operation.forward(-4052051.7643, 4212836.2017, -2545106.0245)
    np.testing.assert_allclose(found, [-4052052.7379, 4212835.9897, -2545104.5898], rtol=0, atol=1e-4)
    assert operation.accuracy == 0.01


def test_gda94_to_gda2020_geographic() -> None:
    """The same station in longitude, latitude and height; same sources."""
    start = (133 + (53 + 7.84785 / 60) / 60, -(23 + (40 + 12.44602 / 60) / 60), 603.3466)
    place = raw_to_working("EPSG:4939", MGA2020_53, ALICE).forward(*start)
    lon, lat, height = working_to_geographic(MGA2020_53).forward(*place)
    second = 1.0 / 3600.0
    assert lon == pytest.approx(133 + 53 / 60 + 7.87779 * second, rel=0, abs=1e-5 * second)
    assert lat == pytest.approx(-(23 + 40 / 60 + 12.39650 * second), rel=0, abs=1e-5 * second)
    assert height == pytest.approx(603.2489, rel=0, abs=1e-4)


def test_mga94_to_mga2020() -> None:
    """The same station on the grid, zone 53 (GeodePy's tests); the height is carried through X, Y, Z."""
    place = raw_to_working("EPSG:28353", MGA2020_53, ALICE).forward(386352.3979, 7381850.7689, 603.3466)
    east, north, height = working_to_issued(MGA2020_53, "ellipsoid", ALICE).forward(*place)
    np.testing.assert_allclose([east, north], [386353.2343, 7381852.2986], rtol=0, atol=1e-4)
    assert height == pytest.approx(603.2489, rel=0, abs=1e-4)


ALIC_2018 = (-4052052.6588, 4212835.9938, -2545104.6946)


def test_plate_motion_to_gda2020() -> None:
    """ITRF2014 at 2018.0 to GDA2020: its technical manual 3.3.1; OSGeo/PROJ test/gie/GDA.gie. The point's own time."""
    operation = raw_to_working("EPSG:7789", MGA2020_53, ALICE)
    assert operation.time_dependent
    found = operation.forward(*ALIC_2018, 2018.0)
    np.testing.assert_allclose(found, [-4052052.7373, 4212835.9835, -2545104.5867], rtol=0, atol=1e-4)


def test_plate_motion_between_epochs() -> None:
    """2018.0 to 2025.0 by way of GDA2020 (GeodePy's tests): forward at one time, back at another."""
    operation = raw_to_working("EPSG:7789", MGA2020_53, ALICE)
    found = operation.inverse(*operation.forward(*ALIC_2018, 2018.0), 2025.0)
    np.testing.assert_allclose(found, [-4052052.9336, 4212835.9577, -2545104.3168], rtol=0, atol=1e-4)


def test_gda2020_to_itrf2014_at_2026() -> None:
    """33.8623 S 151.2077 E at 2026.0: OSGeo/PROJ test/gie/epsg_no_grid.gie."""
    grid, sydney = "EPSG:7856", Area(150.0, -34.5, 152.0, -33.0)
    start = working_to_geographic(grid).inverse(151.2077, -33.8623, 0.0)
    lon, lat, height = raw_to_working("EPSG:7912", grid, sydney).inverse(*start, 2026.0)
    assert lat == pytest.approx(-33.862297056, rel=0, abs=1e-9)
    assert lon == pytest.approx(151.207701181, rel=0, abs=1e-9)
    assert height == pytest.approx(-0.00101, rel=0, abs=1e-4)


def test_fifteen_parameters() -> None:
    """EPSG 1056, ITRF2008 at 2013.90 to GDA94: IOGP 373-7-2 as carried in PHPCoord's tests."""
    operation = raw_to_working("EPSG:5332", "EPSG:28350", Area(127.0, -16.0, 129.0, -15.0))
    found = operation.forward(-3789470.710, 4841770.404, -1690893.952, 2013.90)
    np.testing.assert_allclose(found, [-3789470.004, 4841770.686, -1690895.108], rtol=0, atol=5e-4)


#: Ordnance Survey, A guide to coordinate systems in Great Britain, worked example; read in PHPCoord's tests.
OS_HELMERT = (
    "proj=helmert x=-446.448 y=125.157 z=-542.060 s=20.4894 rx=-0.1502 ry=-0.2470 rz=-0.8421 convention=position_vector"
)


@pytest.mark.parametrize(
    ("start", "end", "tolerance"),
    [
        ((3790644.900, -110149.210, 5111482.970), (3790269.549, -110038.064, 5111050.261), 5e-4),
        ((3909833.018, -147097.138, 5020322.478), (3909460.068, -146987.302, 5019888.070), 1e-3),
    ],
)
def test_position_vector(start: tuple[float, ...], end: tuple[float, ...], tolerance: float) -> None:
    """A position vector rotation; with the other sign convention it would be off by metres."""
    operation = Operation("test", "Helmert", OS_HELMERT, None)
    np.testing.assert_allclose(operation.forward(*start), end, rtol=0, atol=tolerance)
    turned = Operation("test", "Helmert", OS_HELMERT.replace("position_vector", "coordinate_frame"), None)
    assert np.abs(np.array(turned.forward(*start)) - end).max() > 1.0


def test_wgs72_to_wgs84() -> None:
    """EPSG 9606: IOGP 373-7-2, read in PHPCoord's tests."""
    definition = "proj=helmert z=4.5 rz=0.554 s=0.219 convention=position_vector"
    found = Operation("test", "WGS 72 to WGS 84", definition, None).forward(3657660.66, 255768.55, 5201382.11)
    np.testing.assert_allclose(found, [3657660.78, 255778.43, 5201387.75], rtol=0, atol=1e-2)
