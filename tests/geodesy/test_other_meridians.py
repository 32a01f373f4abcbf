"""Grids that count longitudes from other meridians, as grids that count from Greenwich."""

import numpy as np
import pytest
from pyproj import Transformer

from pipeline.geodesy import crs
from pipeline.geodesy.errors import OperationError
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


def test_a_grid_without_a_text_stops_nothing() -> None:
    """In Tunisia one grid from Paris is of a projection that no text describes."""
    assert from_greenwich(10.0, 36.0) == []


@pytest.mark.parametrize(("place", "grid", "datum"), GRIDS)
def test_a_job_file_that_names_one_is_told_its_twin(place: tuple[float, float], grid: int, datum: int) -> None:
    with pytest.raises(OperationError) as error:
        crs.target_grid(f"EPSG:{grid}")
    (twin,) = [one for one in from_greenwich(*place) if f"(EPSG:{grid})" in one.name]
    assert f'"{twin.code}"' in str(error.value) and f"on EPSG:{datum}" in twin.code


#: What is told where no grid can be written: of a datum that has no CRS from Greenwich, of degrees from Bogota
#: (74° 04' 51.3" W of Greenwich, which the registry has as -74.080916667).
@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("EPSG:2062", "Madrid: choose a CRS that measures them from Greenwich: the registry has none with this datum"),
        ("EPSG:4802", '(-74.080917° to those from Bogota), and write "EPSG:4218"'),
        ("EPSG:4807", '(+2.3372292° to those from Paris), and write "EPSG:4275"'),
    ],
)
def test_what_is_told_of_others(code: str, told: str) -> None:
    with pytest.raises(OperationError) as error:
        crs.source_crs(code)
    assert told in str(error.value).replace(" -> ", ": ")
