"""Operations whose method PROJ does not have: met in words, and of no weight where only a mistake is read."""

import pytest

from pipeline.geodesy.alternatives import other_datums
from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import raw_to_working

#: Longitude, latitude, grid in feet or metres: national registers whose ways to global frames need velocity models.
PLACES = [
    pytest.param(-99.0, 31.2, "EPSG:6578", id="texas-feet"),
    pytest.param(-81.5, 28.1, "EPSG:6438", id="florida-feet"),
    pytest.param(-91.9, 30.4, "EPSG:6479", id="louisiana-feet"),
    pytest.param(-66.4, 18.2, "EPSG:6566", id="puerto-rico"),
    pytest.param(-46.6, -23.5, "EPSG:31983", id="brazil"),
    pytest.param(-70.7, -33.4, "EPSG:5361", id="chile"),
    pytest.param(10.7, 59.9, "EPSG:25832", id="norway"),
]


@pytest.mark.parametrize(("longitude", "latitude", "grid"), PLACES)
def test_every_source_has_a_way_or_is_refused_in_words(longitude: float, latitude: float, grid: str) -> None:
    area = Area(longitude - 0.05, latitude - 0.05, longitude + 0.05, latitude + 0.05)
    for source in ("EPSG:9018", "EPSG:10177", "EPSG:7912", "EPSG:9989", "EPSG:4979"):
        try:
            raw_to_working(source, METRES.get(grid, grid), area)
        except OperationError as error:
            assert error.what.startswith("raw to working: ") and error.fix


METRES = {"EPSG:6578": "EPSG:6577", "EPSG:6438": "EPSG:6437", "EPSG:6479": "EPSG:6478"}


@pytest.mark.parametrize(
    ("first", "second", "crs"), [(2_600_000.0, 10_200_000.0, "EPSG:6578"), (-99.0, 31.2, "EPSG:9019")]
)
def test_other_datums_leave_out_what_proj_cannot_do(first: float, second: float, crs: str) -> None:
    found = other_datums(crs, Area(-99.05, 31.15, -98.95, 31.25), first, second)
    assert all(0.0 < other.accuracy <= 10.0 for other in found)
