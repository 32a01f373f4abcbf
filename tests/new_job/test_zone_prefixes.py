"""Eastings with the zone's number before them in one file alone, and planes that lie apart otherwise."""

import numpy as np
import pytest

from pipeline.new_job.grid_fits import FilePositions
from pipeline.new_job.zone_prefixes import zone_apart

_NORTH = np.array([5_405_100.0, 5_405_900.0])


def _plane(east: float, north: float = 0.0, *, turned: bool = False) -> FilePositions:
    easting, northing = np.array([east, east + 800.0]), _NORTH + north
    first, second = (northing, easting) if turned else (easting, northing)
    return FilePositions("plane", first, second, None, turned)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(("readings", "marks"), [(32_514_700.0, 514_600.0), (514_700.0, 3_514_600.0)])
def test_a_zone_before_the_eastings_of_one_file_is_told(readings: float, marks: float, turned: bool) -> None:
    told = zone_apart(_plane(readings, turned=turned), _plane(marks, turned=turned))
    whose = "readings" if readings > marks else "marks"
    zone = round(abs(readings - marks) / 1e6)
    assert f"the eastings of the {whose} have the zone {zone} before them" in told


@pytest.mark.parametrize(
    ("readings", "marks"),
    [
        (_plane(514_700.0), _plane(514_600.0)),
        (_plane(32_514_700.0), _plane(32_514_600.0)),
        (_plane(2_600_000.0, -4_200_000.0), _plane(600_000.0, -5_200_000.0)),
        (_plane(1_572_000.0), _plane(2_482_000.0)),
        (FilePositions("degrees", np.array([9.2]), np.array([48.8])), _plane(32_514_600.0)),
        (_plane(np.nan), _plane(514_600.0)),
    ],
)
def test_nothing_is_said_of_other_planes(readings: FilePositions, marks: FilePositions) -> None:
    assert zone_apart(readings, marks) == ""
