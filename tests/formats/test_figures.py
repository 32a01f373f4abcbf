"""Numbers as text, column by column: Python's decimal arithmetic says what stands there."""

from decimal import Decimal

import numpy as np
import pytest

from pipeline.issue.formats.figures import fixed, fixed_column, joined


@pytest.mark.parametrize("decimals", [3, 4, 10])
def test_fixed_numbers_are_written_with_all_decimals_and_no_minus_zero(decimals: int) -> None:
    """Whole counts of the last decimal, from none of them to beyond what doubles tell apart."""
    counts = [0, 1, -1, 9, 10, 999, -1000, 9_999, 10_000, -10_001, 16_000_071_352, -54_000_034_568, 10**14 + 1]
    values = np.array(counts) / 10.0**decimals
    expected = [f"{Decimal(count).scaleb(-decimals):.{decimals}f}" for count in counts]
    assert fixed_column(values, decimals).to_pylist() == expected == fixed(values, decimals)
    assert fixed_column([-1e-12, 0.0, -0.0], decimals).to_pylist() == [f"{0:.{decimals}f}"] * 3


def test_other_numbers_are_rounded_to_the_nearest() -> None:
    values = np.random.default_rng(7).normal(0, 10.0 ** np.arange(-5, 7).repeat(50))
    found = fixed_column(values, 4).to_pylist()
    assert found == fixed(values, 4)
    assert all(
        abs(Decimal(text) - Decimal(value)) <= Decimal("0.00005000001")
        for text, value in zip(found, values, strict=True)
    )


def test_numbers_that_are_too_large_for_that_are_written_all_the_same() -> None:
    assert fixed_column([1e12, -1e30, 0.5], 4).to_pylist() == ["1000000000000.0000", f"{-1e30:.4f}", "0.5000"]


def test_texts_are_put_together_row_by_row() -> None:
    assert joined("<", fixed_column([1.0, -2.5], 3), ">").to_pylist() == ["<1.000>", "<-2.500>"]
