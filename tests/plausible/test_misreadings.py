"""What two coordinates may have been meant to be; expectations written by hand."""

import numpy as np
import pytest

from pipeline.plausible import misreadings
from pipeline.plausible.misreadings import Misreading

PAIRS = np.array([[110.5, -7.25], [np.nan, 3.0]])


@pytest.mark.parametrize(
    ("misreading", "expected"),
    [
        (misreadings.EXCHANGED, [[-7.25, 110.5], [3.0, np.nan]]),
        (misreadings.FIRST_SIGN, [[-110.5, -7.25], [np.nan, 3.0]]),
        (misreadings.SECOND_SIGN, [[110.5, 7.25], [np.nan, -3.0]]),
        (misreadings.BOTH_SIGNS, [[-110.5, 7.25], [np.nan, -3.0]]),
        (misreadings.SOUTHERN, [[110.5, -10_000_007.25], [np.nan, -9_999_997.0]]),
        (misreadings.NORTHERN, [[110.5, 9_999_992.75], [np.nan, 10_000_003.0]]),
        (Misreading(exchanged=True, factors=(2.0, 4.0), added=(1.0, 0.0)), [[-13.5, 442.0], [7.0, np.nan]]),
        (Misreading(), [[110.5, -7.25], [np.nan, 3.0]]),
    ],
)
def test_what_is_unknown_touches_only_itself(misreading: Misreading, expected: list[list[float]]) -> None:
    before = PAIRS.copy()
    np.testing.assert_array_equal(misreading.meant(PAIRS), expected)
    np.testing.assert_array_equal(misreading.meant(PAIRS[0]), expected[0])
    np.testing.assert_array_equal(PAIRS, before)


def test_exchanging_and_turning_signs_undo_themselves() -> None:
    for one in (misreadings.EXCHANGED, misreadings.FIRST_SIGN, misreadings.SECOND_SIGN, misreadings.BOTH_SIGNS):
        np.testing.assert_array_equal(one.meant(one.meant(PAIRS)), PAIRS)
    np.testing.assert_array_equal(misreadings.NORTHERN.meant(misreadings.SOUTHERN.meant(PAIRS)), PAIRS)


def test_a_decimal_point_moves_by_one_or_two_places_in_one_coordinate() -> None:
    found = {tuple(one.meant(np.array([1.0, 1.0])).tolist()) for one in misreadings.POINT_MOVED}
    places = (10.0, 0.1, 100.0, 0.01)
    assert found == {(place, 1.0) for place in places} | {(1.0, place) for place in places}
