"""Published 95 % figures: the circle, NSSDA's horizontal and vertical factors."""

import math
from pathlib import Path

import geodepy.statistics
import numpy as np
import pytest
from circles import circle

from pipeline.control import RegisterFrame, read_register
from pipeline.geodesy import uncertainty
from pipeline.problems import Problems

#: Axis ratio and exact radius of the 95 % circle: the integral of the bivariate normal over it, worked out apart.
EXACT = {
    0.0: 1.959964,
    0.1: 1.962530,
    0.25: 1.976505,
    0.3: 1.984196,
    0.4: 2.005137,
    0.5: 2.035859,
    0.6: 2.081304,
    0.7: 2.145981,
    0.75: 2.185802,
    0.8: 2.230287,
    0.9: 2.331798,
    1.0: 2.447747,
}


@pytest.mark.parametrize(("ratio", "factor"), EXACT.items())
def test_circle_of_an_ellipse(ratio: float, factor: float) -> None:
    """The exact radius at each axis ratio; the cubic of GeodePy's statistics comes within 0.17 % of it."""
    assert uncertainty.circle_95(0.010, 0.010 * ratio) == pytest.approx(0.010 * factor, rel=0, abs=1e-8)
    assert uncertainty.circle_95(1.0, ratio) == pytest.approx(geodepy.statistics.circ_hz_pu(1.0, ratio), rel=1.7e-3)


@pytest.mark.parametrize("ratio", [0.0171, 0.0999, *list(EXACT)[1:], 0.98765])
def test_circle_against_the_normal_distribution(ratio: float) -> None:
    """The integral of the bivariate normal outside the circle, at ratios between the table's too."""
    assert uncertainty.circle_95(1.0, ratio) == pytest.approx(circle(1.0, ratio), rel=2e-7)


def test_horizontal_of_equal_errors() -> None:
    """NSSDA, FGDC-STD-007.3-1998 3-A.1: 2.4477 times the RMSE of an axis, 1.7308 the radial."""
    radius = uncertainty.horizontal_95(np.diag([0.01**2, 0.01**2]))
    assert radius == pytest.approx(2.4477 * 0.01, rel=2e-5)
    assert radius == pytest.approx(1.7308 * math.hypot(0.01, 0.01), rel=2e-5)


def test_what_a_register_states_is_what_is_issued(tmp_path: Path) -> None:
    """A mark of 20 mm at 95 % has 20 mm at 95 % once its standard uncertainties are put together again."""
    file = tmp_path / "register.csv"
    file.write_text("mark,easting,northing,height,hu95,vu95\nCM1,1,2,3,0.020,0.030\n")
    register = read_register(file, RegisterFrame("projected", False), Problems())
    assert register is not None
    again = uncertainty.horizontal_95(np.diag([register.sigma_east[0] ** 2, register.sigma_north[0] ** 2]))
    assert again == pytest.approx(0.020, rel=1e-9)
    assert uncertainty.vertical_95(register.sigma_up[0]) == pytest.approx(0.030, rel=1e-12)


def test_vertical() -> None:
    """NSSDA, the same, 3-A.2: 1.9600; the exact factor is used."""
    assert uncertainty.vertical_95(1.0) == pytest.approx(1.9600, rel=0, abs=5e-5)
    assert uncertainty.vertical_95(1.0) == pytest.approx(1.9599640, rel=0, abs=5e-8)
