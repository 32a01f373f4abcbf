"""Numbers as they may have been meant."""

import pytest
from every import every

from pipeline.plausible.digits import Slip, misread_numbers, slip


def test_neighbouring_digits_are_swapped_across_the_decimal_point_and_single_ones_replaced() -> None:
    found = list(misread_numbers(("12.3", "", "")))
    assert {one.meant for one in found if one.how is Slip.SWAPPED} == {"21.3", "13.2"}
    assert len([one for one in found if one.how is Slip.DIGIT]) == 3 * 9
    assert all(one.component == 0 and one.written == "12.3" for one in every(found))


def test_two_alike_digits_are_not_swapped_and_signs_stay() -> None:
    assert {one.meant for one in misread_numbers(("-11.2", "", "")) if one.how is Slip.SWAPPED} == {"-12.1"}


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        ("1506852.462", "1506852.642", Slip.SWAPPED),
        ("1506852.462", "1506852.462", None),
        ("1506852.460", "1506852.64", Slip.SWAPPED),  # 46 and 64, one written without its last nought
        ("1506852.46", "1506852.460", None),
        ("1506852,462", "1506852.426", Slip.SWAPPED),
        ("1509.5", "1505.9", Slip.SWAPPED),  # across the decimal point
        ("1506852.462", "1516852.462", Slip.DIGIT),
        ("1506852.462", "1506825.426", None),  # two pairs
        ("1506852.462", "2506851.462", None),
        ("-43.70", "43.70", None),
        ("312.208", "1312.208", None),
        ("132.5", "231.5", None),  # the outer ones of three
        ("", "312.208", None),
    ],
)
def test_slips_of_the_hand(before: str, after: str, expected: Slip | None) -> None:
    assert slip(before, after) is expected


@pytest.mark.parametrize("written", ["1506852.462", "-43.7012", "312"])
def test_each_way_of_mistyping_is_known_again_as_what_it_is(written: str) -> None:
    for one in every(misread_numbers((written, "", ""))):
        assert slip(one.meant, written) is one.how
