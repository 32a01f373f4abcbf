"""Two positions of the same rows: one but for projection, datum and field shifts, or of another day."""

import numpy as np
import pytest
from pyproj import Transformer

from pipeline.arrays import Floats
from pipeline.plausible.two_positions import last_digit, step_of, two_positions

#: Grids of many kinds, with a place in each: conformal or not, in feet, oblique, south-west orientated, of a map alone.
GRIDS = [
    ("EPSG:25832", 11.5, 48.1), ("EPSG:2193", 172.0, -43.0), ("EPSG:2056", 7.4, 47.0), ("EPSG:27700", -3.0, 55.0),
    ("EPSG:3413", -40.0, 72.0), ("EPSG:28992", 5.0, 52.0), ("EPSG:2263", -74.0, 40.7), ("EPSG:2065", 15.0, 50.0),
    ("EPSG:3857", 10.0, 60.0), ("EPSG:28191", 35.2, 31.8), ("EPSG:2053", 29.0, -27.0),
]  # fmt: skip


def a_site(grid: str, lon: float, lat: float, extent: float, rows: int) -> tuple[Floats, Floats, Floats, Floats]:
    rng = np.random.default_rng(5)
    longitude, latitude = lon + rng.uniform(-extent, extent, rows), lat + rng.uniform(-extent, extent, rows)
    east, north = Transformer.from_crs("EPSG:4326", grid, always_xy=True, allow_ballpark=True).transform(
        longitude, latitude
    )
    return longitude, latitude, np.round(east, 3), np.round(north, 3)


@pytest.mark.parametrize(("grid", "lon", "lat"), GRIDS)
@pytest.mark.parametrize("rows", [12, 40, 400])
@pytest.mark.parametrize("extent", [0.0005, 0.01, 0.1])
def test_a_projection_is_no_difference(grid: str, lon: float, lat: float, extent: float, rows: int) -> None:
    longitude, latitude, east, north = a_site(grid, lon, lat, extent, rows)
    for one, other in (((longitude, latitude), (east, north)), ((north, east), (longitude, latitude))):
        found = two_positions(one, other)
        assert found is None or (not len(found.rows) and not found.scattered)


@pytest.mark.parametrize("decimals", [5, 6, 7, 9])
def test_digits_are_no_difference(decimals: int) -> None:
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, 60)
    degrees = np.round(longitude, decimals), np.round(latitude, decimals)
    found = two_positions((east, north), degrees, last_digit(*degrees) + 0.001)
    assert found is not None
    assert (len(found.rows), found.scattered) == (0, False)


def test_field_shifts_of_sessions_are_no_scatter() -> None:
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, 90)
    found = two_positions((longitude, latitude), (east + np.repeat([0.4, -1.3, 2.0], 30), north))
    assert found is not None
    assert (len(found.rows), found.scattered) == (0, False)


def test_a_calibration_is_no_difference() -> None:
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, 60)
    turned = (east + 1j * north - east[0]) * (1.0003 + 0.0001j) + 1000.0
    found = two_positions((longitude, latitude), (turned.real, turned.imag))
    assert found is not None
    assert (len(found.rows), found.scattered) == (0, False)


@pytest.mark.parametrize("rows", [24, 300])
def test_positions_of_another_day_scatter(rows: int) -> None:
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, rows)
    away = np.random.default_rng(6).uniform(-2.0, 2.0, (2, rows))
    found = two_positions((longitude, latitude), (east + away[0], north + away[1]))
    assert found is not None
    assert found.scattered
    assert 1.5 < found.most < 5.0


def test_one_row_that_was_edited_is_told_and_no_scatter() -> None:
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, 60)
    east[31] += 2.0
    found = two_positions((longitude, latitude), (east, north))
    assert found is not None
    assert (found.rows.tolist(), found.scattered, round(found.most, 2)) == ([31], False, 2.0)


def test_what_is_no_position_of_the_rows_is_not_compared() -> None:
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, 60)
    satellites = np.random.default_rng(7).integers(8, 20, 60).astype(np.float64)
    base = np.full(60, 11.4), np.full(60, 48.0)
    packed = np.floor(latitude) + np.mod(latitude, 1.0) * 0.6
    for other in ((satellites, satellites[::-1]), base, (np.full(60, 30.0), satellites)):
        assert two_positions((east, north), other) is None
    assert two_positions((east[:5], north[:5]), (longitude[:5], latitude[:5])) is None
    assert two_positions((east, north), (longitude[::-1].copy(), packed)) is None


def test_a_last_digit_is_worth_metres() -> None:
    assert step_of(np.array([1.5, 2.25])) == 0.01
    assert last_digit(np.array([11.00001]), np.array([48.10002])) == pytest.approx(1.112, abs=0.001)
    tenths = (48.0 + np.array([12.3, 44.1]) / 3600.0, 11.0 + np.array([5.2, 9.9]) / 3600.0)
    assert last_digit(*tenths) == pytest.approx(3.09, abs=0.01)
    assert last_digit(np.array([430_000.123]), np.array([5_300_000.145])) == 0.001


@pytest.mark.parametrize("rows", [6, 25])
def test_rows_off_by_one_vector_and_back_are_a_stretch(rows: int) -> None:
    """Vertices that were dragged together: 0.4 m one way and 0.3 m the other are half a metre."""
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, 90)
    east[40 : 40 + rows] += 0.4
    north[40 : 40 + rows] -= 0.3
    found = two_positions((longitude, latitude), (east, north))
    assert found is not None
    assert [(one.start, one.stop, round(one.apart, 2)) for one in found.stretches] == [(40, 40 + rows, 0.5)]


@pytest.mark.parametrize("of", ["the end", "the beginning", "rovers by turns", "a wandering device", "nothing"])
def test_what_goes_on_to_an_end_or_comes_again_and_again_is_no_stretch(of: str) -> None:
    longitude, latitude, east, north = a_site("EPSG:25832", 11.5, 48.1, 0.005, 90)
    place = np.arange(90)
    rng = np.random.default_rng(2)
    off = {
        "the end": 0.7 * (place > 50),
        "the beginning": 0.7 * (place < 20),
        "rovers by turns": 0.7 * (place // 5 % 2),
        "a wandering device": np.cumsum(rng.normal(0.0, 0.06, 90)),
        "nothing": np.zeros(90),
    }[of]
    found = two_positions((longitude, latitude), (east + off, north))
    assert found is not None and not found.stretches
