"""Values that change in the course of a session, and clocks that are off by whole hours: hand-made numbers."""

import numpy as np
import pytest
from every import every

from pipeline.clock import GPS_AHEAD, HOUR
from pipeline.intake.base_values import antenna_slip, changes, merged, offset_into


def fixed(values: object) -> np.ndarray:
    array = np.array(values)
    array.setflags(write=False)
    return array


def test_changes_come_in_the_order_of_time() -> None:
    first, last = fixed([50, 0, 100]), fixed([90, 40, 200])
    found = changes(first, last)
    assert [(one.before, one.after, one.until, one.since) for one in found] == [(1, 0, 40, 50), (0, 2, 90, 100)]
    assert all(one.clean for one in every(found))


def test_a_value_that_comes_back_is_no_clean_change() -> None:
    """The first lasts to the end; what comes after the second is still within it."""
    found = changes(fixed([0, 30, 60]), fixed([100, 40, 70]))
    assert [one.clean for one in found] == [False, False]
    assert [one.until for one in found] == [100, 100]


def test_one_value_never_changes() -> None:
    assert changes(fixed([5]), fixed([9])) == []


def test_places_a_few_millimetres_apart_are_one() -> None:
    places = fixed([[0, 0, 0], [1.0, 0, 0], [0.003, 0, 0.003], [1.0, 0.006, 0]])
    assert merged(places, 0.005) == [[0, 2], [1], [3]]


@pytest.mark.parametrize(
    ("horizontal", "up", "antenna", "expected"),
    [
        (0.002, 1.612, 1.612, 1),
        (0.002, -1.611, 1.612, -1),
        (0.002, 1.580, 1.612, 0),
        (0.300, 1.612, 1.612, 0),
        (0.0, 0.005, 0.0, 0),
    ],
)
def test_a_difference_that_is_the_antenna_height(horizontal: float, up: float, antenna: float, expected: int) -> None:
    assert antenna_slip(horizontal, up, antenna, 0.01) == expected


def within(*spans: tuple[float, float]):
    def covered(times: np.ndarray) -> np.ndarray:
        return np.any([(times >= start * HOUR) & (times < end * HOUR) for start, end in spans], axis=0)

    return covered


def test_a_whole_day_in_another_zone() -> None:
    times = fixed((np.linspace(20.5, 28.4, 200) * HOUR).astype(np.int64))
    assert offset_into(times, within((7.5, 15.5)), (), 0.9) == -13 * HOUR


def test_the_sessions_own_offset_comes_before_smaller_ones() -> None:
    """Any of 10 to 16 hours would do; the sessions are stated in a zone 13 hours ahead."""
    times = fixed((np.linspace(24.0, 25.0, 50) * HOUR).astype(np.int64))
    assert offset_into(times, within((7.5, 15.5)), (13 * HOUR,), 0.9) == -13 * HOUR
    assert offset_into(times, within((7.5, 15.5)), (), 0.9) == -10 * HOUR


def test_leap_seconds_come_first() -> None:
    times = fixed(8 * HOUR + np.arange(0, 17_000, 1000))
    assert offset_into(times, within((7.0, 8.0)), (13 * HOUR,), 0.9) == -GPS_AHEAD


def test_daylight_saving() -> None:
    times = fixed((np.linspace(15.6, 16.4, 30) * HOUR).astype(np.int64))
    assert offset_into(times, within((7.5, 15.5)), (), 0.9) == -HOUR


def test_what_no_offset_puts_right() -> None:
    times = fixed((np.linspace(100, 130, 200) * HOUR).astype(np.int64))
    assert offset_into(times, within((7.5, 15.5)), (), 0.9) is None
