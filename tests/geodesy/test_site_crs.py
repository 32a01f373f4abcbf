"""A site's definition as others use it: PROJ, by pyproj, applies what is recorded, and gives the sums written out."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pyproj import CRS, Transformer

from pipeline.geodesy.crs import target_grid, vertical_of
from pipeline.geodesy.site_crs import affine_step, derived_height, derived_plan, point_scale, site_definition

MATRIX = 1.0003 * np.array([[np.cos(0.2), -np.sin(0.2)], [np.sin(0.2), np.cos(0.2)]])
OFFSET = np.array([-1_234_567.25, 345_678.5])


@pytest.mark.parametrize("code", ["EPSG:2193", "EPSG:25832", "EPSG:31467"])
def test_the_derived_crs_is_the_affine_of_the_grid(code: str) -> None:
    """Whether the registry has northing first (2193, 31467) or easting."""
    text = site_definition(derived_plan(target_grid(code), MATRIX, OFFSET), None)
    made = Transformer.from_crs(code, CRS.from_wkt(text), always_xy=True)
    places = np.array([[1_500_000.0, 5_200_000.0], [3_501_000.0, 5_201_000.0]])
    assert_allclose(np.column_stack(made.transform(*places.T)), places @ MATRIX.T + OFFSET, rtol=0, atol=1e-6)


def test_plan_and_step_together() -> None:
    """A compound CRS of two derived ones: heights by -200.125 m."""
    grid, datum = target_grid("EPSG:2193"), vertical_of("EPSG:5773")
    text = site_definition(derived_plan(grid, MATRIX, OFFSET), derived_height(datum, -200.125, False))
    made = Transformer.from_crs("EPSG:2193+5773", CRS.from_wkt(text), always_xy=True)
    assert_allclose(
        made.transform(1_500_000.0, 5_200_000.0, 310.0),
        [*(MATRIX @ [1_500_000.0, 5_200_000.0] + OFFSET), 109.875],
        rtol=0,
        atol=1e-6,
    )


def test_a_plane_is_in_the_step_alone() -> None:
    """No registered form of a vertical CRS takes a plane over a grid: the datum is the site's own."""
    slope, added = np.array([2e-5, -1e-5]), -180.0
    step = Transformer.from_pipeline(f"+{affine_step(MATRIX, OFFSET, slope, added).replace(' ', ' +')}")
    easting, northing = 1_500_000.0, 5_200_000.0
    expected = [*(MATRIX @ [easting, northing] + OFFSET), 310.0 + added + slope @ [easting, northing]]
    assert_allclose(step.transform(easting, northing, 310.0), expected, rtol=0, atol=1e-7)
    assert_allclose(step.transform(*expected, direction="INVERSE"), [easting, northing, 310.0], rtol=0, atol=1e-6)
    own = derived_height(vertical_of("EPSG:5773"), added, True)
    assert own.is_vertical and "site" in own.name and not own.equals(CRS("EPSG:5773"))


def test_scale_of_the_grid_at_a_place() -> None:
    """Transverse Mercator on its central meridian: the scale factor, by definition."""
    assert point_scale("EPSG:2193", 173.0, -41.0) == pytest.approx(0.9996, abs=1e-9)
