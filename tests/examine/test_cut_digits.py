"""What numbers are known to, by how they end: rounded ones with zeros behind, and honest ones by the thousand."""

import numpy as np
import pytest

from pipeline.examine.cut_digits import cut_to


def written(values: np.ndarray, decimals: int) -> list[str]:
    return [f"{value:.{decimals}f}" for value in values]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("step", [0.05, 0.1, 0.5, 1.0, 10.0])
@pytest.mark.parametrize("count", [4, 7, 300])
def test_a_step_that_all_have_is_found(step: float, count: int, seed: int) -> None:
    values = np.random.default_rng(seed).uniform(1000.0, 90_000.0, count)
    found = cut_to(written(np.round(values / step) * step, 3), padded=True)
    # few numbers may all lie on a coarser step; many do not
    assert np.allclose(found, step) if count == 300 else (found >= step - 1e-9).all()


@pytest.mark.parametrize("decimals", [2, 3, 4])
@pytest.mark.parametrize("count", [1, 2, 3, 5, 12, 60])
def test_honest_numbers_are_known_to_all_that_is_written(count: int, decimals: int) -> None:
    rng = np.random.default_rng(count)
    many = sum(bool(cut_to(written(rng.uniform(20.0, 900.0, count), decimals), True).any()) for _ in range(1000))
    assert many <= 2


def test_some_of_many_are_found_and_others_left() -> None:
    values = np.random.default_rng(3).uniform(100.0, 900.0, 40)
    values[:10] = np.round(values[:10], 1)
    found = cut_to(written(values, 3), True)
    assert (found[:10] >= 0.1 - 1e-9).all()
    assert (found[10:] > 0.0).sum() <= 2  # one of a hundred is honest and ends so


def test_numbers_to_the_centimetre_with_a_zero_behind_hide_no_coarser_ones() -> None:
    values = np.round(np.random.default_rng(4).uniform(100.0, 900.0, 30), 2)
    values[:20] = np.round(values[:20], 1)
    found = cut_to(written(values, 3), True)
    assert (found[:20] >= 0.1 - 1e-9).all()
    assert (found[20:] >= 0.01 - 1e-9).all() and (found[20:] > 0.02).sum() <= 3


def test_one_number_again_and_again_is_one() -> None:
    assert not cut_to(["100.000"] * 50 + ["101.237", "99.481"], True).any()


@pytest.mark.parametrize("odd", ["", "1e5", "9" * 30 + ".000", "0", "0.0", "12.", "5," + "0" * 40])
def test_odd_numbers_are_passed_over(odd: str) -> None:
    found = cut_to([odd, "300.300", "328.300", "330.600", "299.100"], True)
    assert len(found) == 5
    assert np.allclose(found[1:], 0.1)
    assert len(cut_to([odd], True)) == 1
    assert not len(cut_to([], True))
