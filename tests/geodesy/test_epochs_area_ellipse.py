"""Decimal years, areas with the 180th meridian, ellipses: small closed forms."""

from datetime import UTC, datetime

import numpy as np
import pytest
from every import every
from hypothesis import given
from hypothesis import strategies as st

from pipeline.geodesy import uncertainty
from pipeline.geodesy.area import Area
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.errors import OperationError


@pytest.mark.parametrize(
    ("moment", "year"),
    [
        (datetime(2026, 1, 1, tzinfo=UTC), 2026.0),
        (datetime(2026, 7, 2, 12, tzinfo=UTC), 2026.5),
        (datetime(2024, 7, 2, tzinfo=UTC), 2024.5),  # the middle of a leap year
        (datetime(1969, 7, 2, 12, tzinfo=UTC), 1969.5),
        (datetime(2023, 12, 31, tzinfo=UTC), 2023 + 364 / 365),
    ],
)
def test_decimal_year(moment: datetime, year: float) -> None:
    """Year plus the elapsed part of that year's own length, from milliseconds of any kind."""
    ms = int(moment.timestamp() * 1000)
    for given_as in (np.array([ms]), np.array([float(ms)]), np.array([ms]).astype("datetime64[ms]")):
        assert decimal_year(given_as)[0] == pytest.approx(year, rel=0, abs=1e-11)


def test_no_time_is_no_year() -> None:
    """NaT and NaN give NaN."""
    assert np.isnan(decimal_year(np.array(["NaT"], dtype="datetime64[ms]"))).all()
    np.testing.assert_array_equal(np.isnan(decimal_year(np.array([np.nan, np.inf, 0.0]))), [True, True, False])


@given(st.lists(st.tuples(st.floats(-180, 180), st.floats(-85, 85)), min_size=1, max_size=20), st.floats(0, 5e4))
def test_area_holds_its_points(points: list[tuple[float, float]], margin: float) -> None:
    """The smallest area holds every point, and the one with a margin holds the smallest."""
    lon, lat = np.array(points).T
    area = Area.from_degrees(lon, lat)
    for x, y in every(points):
        assert area.contains(Area(x, y, x, y))
    assert area.with_margin(margin).contains(area)


def test_area_across_the_180th_meridian() -> None:
    """Points on both sides of 180 degrees give a narrow area with west greater than east, also from 0 to 360."""
    area = Area.from_degrees([179.5, -179.0, 181.5], [-44.0, -43.5, -44.5])
    assert (area.west, area.east) == (179.5, -178.5)
    assert area.width == pytest.approx(2.0)
    assert area.centre[0] == pytest.approx(-179.5)
    assert Area(160.6, -55.95, -171.2, -25.88).contains(area)  # New Zealand's, as registered
    assert not Area(160.0, -55.0, 180.0, -25.0).contains(area)
    assert area.with_margin(100_000.0).west < 179.0


def test_area_of_nothing_is_refused() -> None:
    """No finite point, and bounds that are not on the earth (easting as longitude), are refused in words."""
    with pytest.raises(OperationError, match="no point has a usable position"):
        Area.from_degrees([np.nan], [1.0])
    with pytest.raises(OperationError, match="not a place on the earth"):
        Area(0.0, 5e6, 1.0, 6e6)


def test_ellipse_of_a_turned_covariance() -> None:
    """A covariance made from axes 3 and 1 at bearing 30 degrees gives those back; rounding below 0 is 0."""
    u = np.array([np.sin(np.radians(30.0)), np.cos(np.radians(30.0))])
    v = np.array([u[1], -u[0]])
    cov = 9.0 * np.outer(u, u) + np.outer(v, v)
    cov.setflags(write=False)
    np.testing.assert_allclose(uncertainty.error_ellipse(cov), [3.0, 1.0], rtol=0, atol=1e-12)
    a, b = uncertainty.error_ellipse(np.outer(u, u))
    assert b == pytest.approx(0.0, abs=1e-7)
    assert a == pytest.approx(1.0)


def test_ellipse_of_nothing() -> None:
    """No covariance is no error, an unknown one unknown."""
    assert uncertainty.horizontal_95(np.zeros((2, 2))) == 0.0
    assert np.isnan(uncertainty.horizontal_95(np.full((3, 2, 2), np.nan))).all()


def test_circle_by_drawing() -> None:
    """Of 200 000 draws from a 3-D covariance, 95 % (half a per cent either way) fall into the circle of its plan."""
    rng = np.random.default_rng(11)
    factor = np.array([[0.012, 0.0, 0.0], [0.004, 0.008, 0.0], [0.002, -0.003, 0.02]])
    cov = factor @ factor.T
    drawn = rng.normal(size=(200_000, 3)) @ factor.T
    inside = np.hypot(drawn[:, 0], drawn[:, 1]) <= uncertainty.horizontal_95(cov)
    assert inside.mean() == pytest.approx(0.95, rel=0, abs=0.003)
    within = np.abs(drawn[:, 2]) <= uncertainty.vertical_95(np.sqrt(cov[2, 2]))
    assert within.mean() == pytest.approx(0.95, rel=0, abs=0.003)
