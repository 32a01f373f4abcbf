"""Degrees, minutes and seconds in one number, told from decimal degrees on invented places."""

import math

import numpy as np
import pytest

from pipeline.arrays import Floats
from pipeline.plausible.packed import Packed, are_packed, unpacked

#: Metres of a degree of latitude.
DEGREE = 111_200.0


def packed(degrees: Floats) -> Floats:
    """Return decimal degrees as D.MMSSsssss, by the definition of minutes and seconds."""
    whole, minutes = np.divmod(np.abs(degrees), 1.0)
    minutes, seconds = np.divmod(minutes * 60.0, 1.0)
    return np.sign(degrees) * (whole + minutes / 100.0 + np.round(seconds * 60.0, 5) / 10_000.0)


def told(*coordinates: Floats) -> bool:
    axes = [Packed() for _ in coordinates]
    for axis, values in zip(axes, coordinates, strict=True):
        for part in np.array_split(np.round(values, 9), 3):  # as batches come
            axis.add(part)
    return are_packed(axes)


def spread(rng: np.random.Generator, metres: float, count: int) -> tuple[Floats, Floats]:
    """Return longitudes and latitudes of readings all over a square somewhere on the earth."""
    latitude, longitude = rng.uniform(-60.0, 65.0), rng.uniform(-179.0, 178.0)
    east, north = rng.uniform(0.0, metres, (2, count))
    return longitude + east / DEGREE / math.cos(math.radians(latitude)), latitude + north / DEGREE


def test_packed_degrees_of_a_few_kilometres_are_told() -> None:
    rng = np.random.default_rng(1)
    found = [told(*map(packed, spread(rng, 5_000.0, 100))) for _ in range(200)]
    assert sum(found) > 190


def test_a_small_site_tells_nothing() -> None:
    rng = np.random.default_rng(2)
    assert not any(told(*map(packed, spread(rng, 300.0, 500))) for _ in range(200))


@pytest.mark.parametrize("count", [6, 60, 600])
def test_decimal_degrees_are_let_be(count: int) -> None:
    """Three times two thousand days of 10 m to 30 km: squares, lines along a meridian, places far from each other."""
    rng = np.random.default_rng(count)
    for metres in np.exp(rng.uniform(math.log(10.0), math.log(30_000.0), 2_000)).tolist():
        longitude, latitude = spread(rng, metres, count)
        assert not told(longitude, latitude)
        assert not told(np.full(count, longitude[0]) + rng.normal(0.0, 3e-5, count), latitude)
        some = rng.integers(0, 5, count) % count  # five villages
        near = rng.normal(0.0, 2e-4, (2, count))
        assert not told(longitude[some] + near[0], latitude[some] + near[1])


@pytest.mark.parametrize("step", [0.01, 0.005, 0.02, 0.1, 1.0 / 60.0, 1_100.0 / DEGREE])
@pytest.mark.parametrize("begin", [0.0, 0.003, 0.0049])
def test_graticules_and_regular_rows_are_let_be(step: float, begin: float) -> None:
    """Their points share their digits, or go through them slowly: twenty of them are no twenty chances."""
    at = 48.1 + begin + step * np.arange(20)
    rng = np.random.default_rng(3)
    for noise in (0.0, 1e-7, 3e-5):
        longitude, latitude = (np.repeat(at, 20), np.tile(at, 20))
        assert not told(longitude + rng.normal(0.0, noise, 400), latitude + rng.normal(0.0, noise, 400))


def test_one_digit_that_no_minute_has_tells_that_degrees_are_decimal() -> None:
    longitude, latitude = map(packed, spread(np.random.default_rng(4), 8_000.0, 300))
    assert told(longitude, latitude)
    assert not told(np.append(longitude, np.floor(longitude[0]) + 0.1261), np.append(latitude, latitude[0]))


def test_nothing_tells_nothing() -> None:
    assert not told(np.zeros(0), np.zeros(0))
    assert not told(np.full(3, np.nan), np.full(3, np.nan))


def test_packed_degrees_are_written_apart() -> None:
    assert unpacked(48.1238621) == "48°12'38.621\""
    assert unpacked(-0.0005) == "-0°00'05.000\""
