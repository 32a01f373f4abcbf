"""By how much ellipsoids lie above one another, against the closed form of translations and a scale."""

import numpy as np
import pytest

from pipeline.geodesy.ellipsoid_steps import are_carried, ellipsoid_step, step_not_taken

#: Semi-axis [m], inverse flattening, translations to WGS 84 [m] and scale [ppm] as in the EPSG dataset (operations
#: 1304, 1161, 1231, 5249), and a place [deg].
DATUMS = {
    "EPSG:4240": (6377276.345, 300.8017, (293.0, 836.0, 318.0), 2.1, (100.5, 13.8)),
    "EPSG:4253": (6378206.4, 294.9786982, (-133.0, -77.0, -51.0), 0.0, (121.0, 14.6)),
    "EPSG:4301": (6377397.155, 299.1528128, (-146.414, 507.337, 680.507), 0.0, (139.7, 35.7)),
    "EPSG:4298": (6377298.556, 300.8017, (-689.5937, 623.84046, -65.93566), 5.88536, (115.0, 5.5)),
}
_A, _F = 6378137.0, 1 / 298.257223563


def by_molodensky(datum: str) -> float:
    """Return by how much a height above WGS 84 exceeds that above a datum's ellipsoid, to the first order [m].

    Rotations of a second or two hardly turn the vertical.
    """
    a, inverse, (dx, dy, dz), ppm, (lon, lat) = DATUMS[datum]
    lam, phi, f = np.radians(lon), np.radians(lat), 1 / inverse
    sin = np.sin(phi)
    w = np.sqrt(1 - f * (2 - f) * sin**2)
    along = dx * np.cos(phi) * np.cos(lam) + dy * np.cos(phi) * np.sin(lam) + dz * sin
    return float(along - (_A - a) * w + (_F - f) * a * (1 - f) * sin**2 / w + ppm * 1e-6 * a * w)


@pytest.mark.parametrize("datum", DATUMS)
def test_the_step_to_a_datum_without_ellipsoidal_heights_is_that_of_its_parameters(datum: str) -> None:
    step = step_not_taken("EPSG:4979", datum, *DATUMS[datum][-1])
    assert step == pytest.approx(by_molodensky(datum), abs=0.3)


@pytest.mark.parametrize("datum", DATUMS)
def test_a_run_carries_heights_into_a_datum_that_has_none(datum: str) -> None:
    assert are_carried(datum, "EPSG:32650") and are_carried("EPSG:32650", datum)
    assert ellipsoid_step("EPSG:4979", datum, *DATUMS[datum][-1]) == pytest.approx(0.0, abs=1e-6)


def test_a_register_in_degrees_is_compared_as_one_in_a_grid_of_its_datum() -> None:
    in_degrees, in_grid = (ellipsoid_step("EPSG:4979", code, 121.0, 14.6) for code in ("EPSG:4683", "EPSG:3123"))
    assert in_degrees == pytest.approx(in_grid, abs=1e-6) and in_degrees == pytest.approx(43.5, abs=0.1)
    assert not are_carried("EPSG:4683", "EPSG:3123")


def test_nothing_is_said_where_the_operation_says_nothing_of_heights_or_a_text_names_no_crs() -> None:
    assert step_not_taken("EPSG:4979", "EPSG:4258", 8.0, 47.0) is None
    assert ellipsoid_step("EPSG:4979", "EPSG:999999", 8.0, 47.0) is None
