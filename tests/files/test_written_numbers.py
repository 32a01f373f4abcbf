"""Separators between thousands are taken out of numbers where they are sure, and nowhere else."""

import pyarrow as pa
import pytest

from pipeline.files.odd_text import why_no_number
from pipeline.files.written_numbers import ungrouped, without_axis


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("38,32,495.741", "3832495.741"),  # thirty-eight lakh thirty-two thousand
        ("1,23,456.7", "123456.7"),
        ("-1,02,34,567.8", "-10234567.8"),
        ("3,832,495.741", "3832495.741"),
    ],
)
def test_groups_of_three_and_those_of_india_are_read_before_a_decimal_point(text: str, plain: str) -> None:
    assert ungrouped(pa.array([text]), ".").to_pylist() == [plain]


@pytest.mark.parametrize(
    "text", ["38,32,495", "38,32,49.5", "138,32,495.7", "0,32,495.7", "38 32 495.7", "38,3,495.7", "38,324,95.7"]
)
def test_other_groups_stay_as_they_are(text: str) -> None:
    assert ungrouped(pa.array([text]), ".").to_pylist() == [text]


def test_a_decimal_comma_has_no_indian_groups() -> None:
    assert ungrouped(pa.array(["38.32.495,741"]), ",").to_pylist() == ["38.32.495,741"]


def test_indian_groups_that_are_not_read_are_told() -> None:
    """Without a decimal point behind them they may be anything, as 38,324 may."""
    assert "separators between thousands" in why_no_number("38,32,495")


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("324835.913 m E", "324835.913 m"),
        ("324835.913 mE", "324835.913 m"),
        ("324835.913m E", "324835.913m"),
        ("1065731.3 US ft E", "1065731.3 US ft"),
        ("324835,913 E", "324835,913"),
        ("E 324835.913 m", "324835.913 m"),
        ("E324835.913", "324835.913"),
        ("E: -324835.913", "-324835.913"),
        ("324835.913", "324835.913"),
        ("3.2E", "3.2E"),  # an exponent may be cut off
        ("3.2e5", "3.2e5"),
        ("324835.913 m W", "324835.913 m W"),
        ("324835.913 m N", "324835.913 m N"),
        ("E", "E"),
    ],
)
def test_the_letter_of_its_axis_is_taken_off_a_length(text: str, plain: str) -> None:
    assert without_axis(pa.array([text]), "E").to_pylist() == [plain]


@pytest.mark.parametrize("text", ["5161024.87 m S", "324835.913W", "E 1506852.46", "3.2E", "1506852.46 m O"])
def test_a_letter_that_is_not_read_is_told(text: str) -> None:
    assert "has the letter of a side" in why_no_number(text)
