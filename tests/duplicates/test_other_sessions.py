"""Positions that two sessions share: what chance gives is reckoned with Poisson's distribution, in closed form."""

import numpy as np
import pytest

from pipeline.duplicates.other_sessions import in_other_sessions, no_chance

#: The chance that two readings beside each other agree in three digits worth a millimetre, or a tenth of it, where they
#: scatter over 20 mm.
MILLIMETRE, TENTH = (1 / 20) ** 3, (0.1 / 20) ** 3


def test_pairs_are_of_two_sessions_and_the_first_in_time_is_the_original() -> None:
    time = np.array([50, 10, 20, 30, 40, 60])
    position = np.array([7, 7, 7, 9, 9, 8], np.uint64)
    session = np.array([1, 0, 0, 2, 2, 0])
    assert in_other_sessions(time, position, session).tolist() == [[1, 0]]


@pytest.mark.parametrize(
    ("chance", "many", "near", "told"),
    [
        (TENTH, 1, 1, True),
        (TENTH, 1, 10_000, False),  # 1 - exp(-0.00125) = 1.2e-3
        (MILLIMETRE, 1, 1, True),  # 1.2e-4
        (MILLIMETRE, 1, 100, False),  # 1.2e-2
        (MILLIMETRE, 5, 100, True),  # 2.6e-12
        (MILLIMETRE, 2, 5_000, False),  # two of 0.6 expected: 0.13
        (1.0, 7, 7, False),
    ],
)
def test_agreements_count_beyond_what_chance_gives(chance: float, many: int, near: int, told: bool) -> None:
    assert no_chance(np.full(many, chance), near).tolist() == [told] * many


def test_coarse_agreements_do_not_hide_a_fine_one() -> None:
    assert no_chance(np.array([1.0, TENTH, 1.0]), 3).tolist() == [False, True, False]
