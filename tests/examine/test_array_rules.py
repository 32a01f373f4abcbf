"""Rules of numbers alone, without a job; expectations are closed forms or counted by hand."""

from dataclasses import dataclass
from math import inf, log, nan
from statistics import NormalDist

import numpy as np
import pytest

from pipeline.examine.coarse_digits import EVEN, harms
from pipeline.examine.computed import OnTheMarks
from pipeline.examine.flat_heights import is_flat, least_alike
from pipeline.examine.geoid_step import of_another_model, of_reversed_sign
from pipeline.examine.last_digits import last_digit
from pipeline.examine.mark_heights import middle
from pipeline.examine.other_bases import unmarked


@pytest.mark.parametrize(
    ("number", "step"),
    [(5123.0, 1.0), (12.5, 0.1), (12.250, 0.01), (-0.001, 0.001), (0.0, 1.0), (1 / 3, 1e-4), (4_512_345.67, 0.01)],
)
def test_the_last_digit_that_a_number_was_written_with(number: float, step: float) -> None:
    """A third has no last digit: the finest that is looked for."""
    assert last_digit(number, range(5)) == pytest.approx(step, rel=1e-12)


def test_an_even_distribution_over_a_digit() -> None:
    """The standard deviation of a number anywhere in one digit, of many of them drawn evenly."""
    drawn = (np.arange(100_000) + 0.5) / 100_000
    assert pytest.approx(drawn.std(), rel=1e-6) == EVEN


@pytest.mark.parametrize(
    ("digit", "stated", "expected"),
    [
        # heights to the decimetre: up to 50 mm off where 30 mm are allowed and 10 mm stated, yet 29 mm by evenness
        (0.1, 0.010, True),
        # the same where it is stated that they are good to 6 cm: 58 mm in twice the rounding's sigma
        (0.1, 0.060, False),
        # to the centimetre: 5 mm harms no check of 30 mm, whatever is stated
        (0.01, 0.001, False),
        # to 4 cm: 20 mm is more than half of the tolerance; 12 mm by evenness are more than 10 mm, and less than 15
        (0.04, 0.010, True),
        (0.04, 0.015, False),
    ],
)
def test_rounding_harms_where_it_eats_up_a_tolerance_and_nobody_says_so(
    digit: float, stated: float, expected: bool
) -> None:
    assert harms(digit / 2.0, digit, 0.030, stated) is expected


def on_marks(*rows: tuple[int, int, float]) -> OnTheMarks:
    session, mark, off = np.array(rows).T
    return OnTheMarks(session.astype(int), mark.astype(int), np.column_stack([off, 0.0 * off, -off]))


def test_a_session_is_computed_if_two_marks_agree_to_two_millimetres() -> None:
    assert on_marks((0, 0, 0.001), (0, 1, -0.001)).computed(0, height=False)
    assert on_marks((0, 0, 0.001), (0, 1, -0.001)).computed(0, height=True)
    assert not on_marks((0, 0, 0.009), (0, 1, -0.009)).computed(0, height=False)
    # less the session's mean, one mark alone always agrees: it tells nothing
    assert not on_marks((0, 0, 0.0)).computed(0, height=False)


def test_a_session_on_one_mark_is_as_the_others_are() -> None:
    assert on_marks((0, 0, 0.0), (1, 0, 0.001), (1, 1, -0.001)).computed(0, height=False)
    assert not on_marks((0, 0, 0.0), (1, 0, 0.02), (1, 1, -0.02)).computed(0, height=False)
    # of two sessions one measured: the one that was computed is judged by its own marks
    both = on_marks((0, 0, 0.02), (0, 1, -0.02), (1, 0, 0.001), (1, 1, -0.001))
    assert both.computed(1, height=False) and not both.computed(0, height=False)


def test_a_mark_without_a_height_does_not_count_in_height() -> None:
    known = OnTheMarks(np.zeros(3, int), np.arange(3), np.array([[0.0, 0, 0.001], [0, 0, nan], [0, 0, -0.001]]))
    assert known.computed(0, height=True)
    lone = OnTheMarks(np.zeros(2, int), np.arange(2), np.array([[0.0, 0.0, 0.0], [0.0, 0.0, nan]]))
    assert not lone.computed(0, height=True)


@pytest.mark.parametrize(
    ("count", "apart", "rise", "expected"),
    [(8, 30.0, 0.0, True), (7, 30.0, 0.0, False), (8, 0.9, 0.0, False), (8, 30.0, 0.001, False)],
)
def test_many_places_of_one_height(count: int, apart: float, rise: float, expected: bool) -> None:
    low = np.array([1000.0, 2000.0, 57.2])
    assert is_flat(low, low + np.array([0.0, apart, rise]), count, 1.0) is expected


@pytest.mark.parametrize("digit", [0.01, 0.005])
def test_how_many_heights_round_to_one_number_by_chance(digit: float) -> None:
    """With a scatter of 4 mm about the middle of a digit, the others all fall in it one time in 100,000."""
    inside = 2.0 * NormalDist(0.0, 0.004).cdf(digit / 2.0) - 1.0
    least = least_alike(digit, 1.0)
    assert inside ** (least - 1.0) == pytest.approx(1e-5, rel=1e-6) or (least == 8.0 and inside**7.0 < 1e-5)
    assert least == pytest.approx(max(8.0, 1.0 + log(1e-5) / log(inside)), rel=1e-9)


def test_heights_of_coarse_digits_may_all_be_one_number_and_those_without_decimals_are_none() -> None:
    assert least_alike(0.1, 1.0) == inf  # still water, to the decimetre
    assert least_alike(1.0, 1.0) == 8.0  # nobody measures in whole metres
    assert least_alike(0.3048, 0.3048) == 8.0  # nor in whole feet
    assert least_alike(0.001, 1.0) == 8.0


@pytest.mark.parametrize(
    ("off", "accuracy", "expected"),
    [(0.9, 0.0, False), (1.1, 0.0, True), (1.4, 0.2, False), (1.5, 0.2, True), (2.9, None, False), (3.1, None, True)],
)
def test_a_geoid_that_is_of_another_height_datum(off: float, accuracy: float | None, expected: bool) -> None:
    """A metre for the model, and twice what PROJ states of its own way, or a metre where it states nothing."""
    expected_at = np.array([40.0, 41.5, 43.0])
    assert of_another_model(expected_at + off, expected_at, accuracy) is expected
    assert of_another_model(expected_at - off, expected_at, accuracy) is expected


def test_a_geoid_of_reversed_sign() -> None:
    separation = np.array([40.0, 41.5, 43.0])
    assert of_reversed_sign(-separation, separation)
    assert of_reversed_sign(-separation + 1.0, separation)
    assert not of_reversed_sign(separation + 2.0, separation)
    assert not of_reversed_sign(np.zeros(3), separation)


def test_the_middle_of_each_column_where_it_has_numbers() -> None:
    found = middle(np.array([[1.0, nan, nan], [5.0, 2.0, nan], [3.0, 4.0, nan]]))
    assert found[:2] == [3.0, 3.0] and np.isnan(found[2])


@dataclass
class Seen:
    count: int


def test_bases_without_an_occupied_mark() -> None:
    groups, seen = [[0, 2], [1]], [Seen(4), Seen(9), Seen(3)]
    assert unmarked(groups, {2}, seen) == [[1]]
    assert unmarked(groups, {0, 1}, seen) == []
    assert unmarked(groups, set(), seen) == [[0, 2]]  # no mark at all: the base with most readings is the job's
