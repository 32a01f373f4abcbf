"""Grids that count longitudes from other meridians, as grids that count from Greenwich."""

import numpy as np
import pytest
from pyproj import Transformer

from pipeline.geodesy import crs
from pipeline.geodesy.other_meridians import from_greenwich

#: Places, and a grid there with the geographic CRS from Greenwich of its datum, by the registry.
GRIDS = [
    ((2.35, 48.85), 27572, 4275),
    ((2.35, 48.85), 27561, 4275),
    ((10.5, 47.2), 31281, 4312),
    ((10.7, 59.9), 27393, 4273),
    ((106.8, -6.2), 5330, 4211),
]


@pytest.mark.parametrize(("place", "grid", "datum"), GRIDS)
def test_a_grid_from_another_meridian_has_a_twin_from_greenwich(
    place: tuple[float, float], grid: int, datum: int
) -> None:
    (twin,) = [one for one in from_greenwich(*place) if f"(EPSG:{grid})" in one.name]
    assert twin.code.endswith(f" on EPSG:{datum}")
    made = crs.target_grid(twin.code)
    lon, lat = place[0] + np.linspace(-0.3, 0.3, 7), place[1] + np.linspace(0.2, -0.2, 7)
    here = Transformer.from_crs(datum, made, always_xy=True).transform(lon, lat)
    there = Transformer.from_crs(datum, grid, always_xy=True).transform(lon, lat)  # pyproj's own way
    assert np.asarray(here) == pytest.approx(np.asarray(there), abs=0.001)


@pytest.mark.parametrize("place", [(9.4, 51.3), (-74.1, 4.6), (172.6, -43.5)])
def test_where_all_count_from_greenwich_there_is_none(place: tuple[float, float]) -> None:
    assert from_greenwich(*place) == []
