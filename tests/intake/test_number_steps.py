"""The coarse step that a few numbers were rounded to is found; numbers that were not rounded have none."""

import numpy as np
import pytest

from pipeline.intake.number_steps import coarse_step


@pytest.mark.parametrize("step", [0.05, 0.1, 0.25, 0.3048, 1.0])
@pytest.mark.parametrize("constant", [0.0, 0.137, -1.5372])
@pytest.mark.parametrize("seed", range(5))
def test_a_step_is_found_whatever_was_added_since(step: float, constant: float, seed: int) -> None:
    numbers = np.array([4.0, 5.0, 4.0, 7.0, 8.0]) + np.random.default_rng(seed).integers(100, 900)
    assert coarse_step((numbers * step + constant).round(4), 1.0, 1e-4, False) == pytest.approx(step, rel=1e-3)


@pytest.mark.parametrize(("kind", "step"), [(np.float16, 0.0625), (np.float32, 2.0**-17)])
def test_numbers_in_few_bytes_have_their_step(kind: type, step: float) -> None:
    """IEEE 754: eleven and 24 digits of two, so from 64 to 128 steps are of 2**-4 and 2**-17."""
    heights = np.array([100.0234, 101.567, 103.892]).astype(kind).astype(float)
    assert coarse_step(heights, 1.0, 1e-8, False) == step


@pytest.mark.parametrize("count", [1, 2, 3, 5, 300])
@pytest.mark.parametrize("digit", [3, 4])
def test_numbers_that_were_not_rounded_have_none(count: int, digit: int) -> None:
    found = 0
    for seed in range(200):
        heights = np.random.default_rng(seed).normal(100.0, 1.0, count).round(digit)
        found += coarse_step(heights, 1.0, 10.0**-digit, False) > 0.0
    assert found <= 10


@pytest.mark.parametrize("values", [[], [np.nan], [np.inf], [1e15, 2e15], [0.0, 0.0]])
def test_numbers_that_are_no_coordinates_do_no_harm(values: list[float]) -> None:
    assert coarse_step(np.array(values), 1.0, 1e-3, False) >= 0.0
