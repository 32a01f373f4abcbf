"""Numbers as they may have been meant."""

from pipeline.blunders.digits import misread_numbers


def test_neighbouring_digits_are_swapped_across_the_decimal_point_and_single_ones_replaced() -> None:
    found = list(misread_numbers(("12.3", "", "")))
    assert {one.meant for one in found if one.swapped} == {"21.3", "13.2"}
    assert len([one for one in found if not one.swapped]) == 3 * 9
    assert all(one.component == 0 and one.written == "12.3" for one in found)


def test_two_alike_digits_are_not_swapped_and_signs_stay() -> None:
    assert {one.meant for one in misread_numbers(("-11.2", "", "")) if one.swapped} == {"-12.1"}
