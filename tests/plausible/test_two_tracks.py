"""Readings that two rovers made in turn, and what is like them and is none: tracks on a plane, metres."""

import numpy as np
import pytest

from pipeline.arrays import Floats, Integers
from pipeline.plausible.two_tracks import two_tracks

SITE = 1_700.0


def walked(count: int, east: float, seed: int, step: float = 20.0) -> Floats:
    """Return (count, 3) places of somebody who walks ``step`` metres from point to point."""
    ways = np.random.default_rng(seed).normal(scale=step / 2**0.5, size=(count, 2)).cumsum(axis=0)
    return np.column_stack([ways[:, 0] + east, ways[:, 1], np.zeros(count)])


def turns(every: int, seconds: float, count: int = 60) -> tuple[Floats, Integers]:
    """Return what two rovers measured, who are SITE metres apart, so many readings of the one after the other."""
    mine, other = walked(count, 0.0, 1), walked(count, SITE, 2)
    second = (np.arange(count) // every) % 2 == 1
    return np.where(second[:, None], other, mine), (np.arange(count) * seconds * 1000).astype(np.int64)


def test_two_rovers_in_turn() -> None:
    found = two_tracks(*turns(1, 30.0))
    assert found is not None
    assert (found.count, found.at, found.seconds) == (59, 1, 30.0)
    assert found.metres == pytest.approx(SITE, abs=200.0)


def test_two_rovers_some_readings_each() -> None:
    found = two_tracks(*turns(6, 20.0))
    assert found is not None and (found.count, found.at) == (9, 6)


@pytest.mark.parametrize("seconds", [60.0, 600.0, 2.0, 0.0])
def test_times_that_tell_no_speed(seconds: float) -> None:
    """A minute as times rounded to minutes have it is up to two; rows written together have no times of their own."""
    assert two_tracks(*turns(1, seconds)) is None


def test_one_who_drives_to_another_site_and_back() -> None:
    places, time = turns(20, 40.0)
    time = time + (np.arange(len(time)) // 20) * 120_000  # two minutes for the drive
    assert two_tracks(places, time) is None


def test_points_scattered_at_random() -> None:
    scattered = np.random.default_rng(3).uniform(-2_000.0, 2_000.0, (400, 3)) * (1.0, 1.0, 0.0)
    for seconds in (5, 14, 30, 60):
        assert two_tracks(scattered, np.arange(400, dtype=np.int64) * seconds * 1000 + 1000) is None


def test_one_vehicle_at_every_second() -> None:
    """At 130 km/h, measured every ten seconds."""
    along = np.column_stack([np.arange(500) * 361.0, np.zeros(500), np.zeros(500)])
    assert two_tracks(along, np.arange(500, dtype=np.int64) * 10_000) is None


def test_a_few_slips_of_a_clock() -> None:
    places, time = walked(60, 0.0, 4), np.arange(60, dtype=np.int64) * 30_000
    places[[20, 40]] += (SITE, 0.0, 0.0)
    assert two_tracks(places, time) is None
