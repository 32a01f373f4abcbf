"""One name at two places, by numbers alone; distances by GeographicLib."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from pipeline.intake.far_names import far_repeats


def places(*degrees: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    longitude, latitude = np.array(degrees).T
    return longitude, latitude


def test_far_ones_are_found_and_near_ones_are_repeats() -> None:
    hashes = np.array([7, 5, 7, 9, 5, 7], np.uint64)
    there = Geodesic.WGS84.Direct(-43.7, 171.85, 30.0, 580.0)
    near = Geodesic.WGS84.Direct(-43.7, 171.85, 200.0, 8.0)
    found = far_repeats(
        hashes,
        *places((171.85, -43.7), (171.9, -43.7), (there["lon2"], there["lat2"]), (171.0, -43.0), (171.9, -43.7),
                (near["lon2"], near["lat2"])),
        25.0,
    )  # fmt: skip
    assert (found.first.tolist(), found.other.tolist(), found.names) == ([0], [2], 1)
    assert found.distance == pytest.approx([580.0], rel=0.005)


def test_across_the_180th_meridian_it_is_a_few_metres() -> None:
    assert far_repeats(np.array([1, 1], np.uint64), *places((179.99999, -17.0), (-179.99999, -17.0)), 25.0).names == 0


def test_over_the_pole_it_is_a_few_metres() -> None:
    """A reading on each side of the pole, 11 m from it: half round the earth in longitude."""
    two = places((10.0, 89.9999), (-170.0, 89.9999))
    assert far_repeats(np.array([1, 1], np.uint64), *two, 25.0).names == 0
    assert far_repeats(np.array([1, 1], np.uint64), *two, 15.0).distance == pytest.approx([22.3], abs=0.2)


def test_nothing_has_no_names() -> None:
    assert far_repeats(np.zeros(0, np.uint64), np.zeros(0), np.zeros(0), 25.0).names == 0
