"""Clean jobs in grids whose area of use goes all the way round the earth: polar and world grids are no doubt.

The grids are closed forms (`tests/support/whole_earth.py`).
"""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import WGS84
from every import every
from numpy.testing import assert_allclose
from running import published_record, run_written
from simulate import Place, Plan, simulate
from whole_earth import Mercator, Stereographic

#: Longitude, latitude, projection and grid. True at 71 south and 0 down (EPSG:3031), at 70 north and 45 west down
#: (EPSG:3413).
GRIDS = {
    "Antarctic": (166.7, -77.85, Stereographic(-71.0, 0.0), "EPSG:3031"),
    "Greenland": (-32.0, 77.7, Stereographic(70.0, -45.0), "EPSG:3413"),
    "beside the pole": (100.0, 89.99, Stereographic(70.0, -45.0), "EPSG:3413"),
    "World Mercator": (13.5, 46.9, Mercator(), "EPSG:3395"),
    "across the 180th meridian": (179.9993, -16.8, Mercator(), "EPSG:3395"),
}


@pytest.mark.parametrize("name", GRIDS)
def test_a_clean_job_is_proven(name: str, tmp_path: Path) -> None:
    longitude, latitude, projection, grid = GRIDS[name]
    place = Place(longitude, latitude, 120.0, WGS84, projection, grid, "EPSG:4979", "ellipsoid", None)
    reach = 300.0 if abs(latitude) > 89.0 else 1_000.0
    job = simulate(Plan(sessions=2, points=12, ties=1, checks=2, marks=4, reach=reach, noise=False, place=place))
    job.rows["longitude"] = (job.rows["longitude"] + 180.0) % 360.0 - 180.0
    path = job.write(tmp_path)
    issue = run_written(path)
    assert not [note for note in issue.record["notes"] if "is meant for" in note or "km" in note]
    for row in every(issue.points.rows):
        east, north, height = job.truth.of(row["name"])
        assert_allclose([row["easting"], row["northing"], row["height"]], [east, north, height], rtol=0, atol=2e-3)


def test_readings_on_the_other_half_of_the_earth_are_still_a_doubt(tmp_path: Path) -> None:
    """The sign of every latitude is lost, in export and register alike: 15,000 km from a grid of the south."""
    place = Place(166.7, 77.85, 120.0, WGS84, Stereographic(-71.0, 0.0), "EPSG:3031", "EPSG:4979", "ellipsoid", None)
    job = simulate(Plan(sessions=1, points=6, ties=1, checks=2, marks=3, noise=False, place=place))
    record = published_record(job.write(tmp_path), code=3)
    (doubt,) = [one["what"] for one in record["doubts"] if "outside the area" in one["what"]]
    # from 77.85 north to 60 south along the meridian, on the sphere
    assert f"are {np.radians(137.85) * 6_371.0:,.0f}"[:-1] in doubt
