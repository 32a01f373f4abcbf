"""Grids that count to the west and south, by the worked examples of the registry's guidance note 7-2."""

import numpy as np
import pytest

from pipeline.geodesy.registry import in_use_there, projected, unprojected, x_is_northing


def _degrees(whole: int, minutes: int, seconds: float) -> float:
    return whole + minutes / 60 + seconds / 3600


@pytest.mark.parametrize(
    ("code", "longitude", "latitude", "westing", "southing"),
    [
        ("EPSG:5513", _degrees(16, 50, 59.179), _degrees(50, 12, 32.442), 568991.00, 1050538.63),  # Krovak
        ("EPSG:2053", _degrees(28, 16, 57.479), -_degrees(25, 43, 55.302), 71984.49, 2847342.74),  # Lo29
    ],
)
def test_the_westing_comes_before_the_southing(
    code: str, longitude: float, latitude: float, westing: float, southing: float
) -> None:
    found = np.array(projected(code, np.array([longitude]), np.array([latitude])))[:, 0]
    assert np.abs(found - (westing, southing)).max() < 0.02
    back = np.array(unprojected(code, np.array([westing]), np.array([southing])))[:, 0]
    assert np.abs(back - (longitude, latitude)).max() < 1e-6
    assert in_use_there(code, westing, southing) and x_is_northing(code)
