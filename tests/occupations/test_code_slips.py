"""Codes that are one slip of the keys from the code of a check, and codes that are their own."""

import pytest

from pipeline.occupations.code_slips import slip_of


@pytest.mark.parametrize("typed", ["CKH", "HCK", "ckh", "CHJ", "XHK", "CH", "HK", "CK", "CHKK", "CCHK", " CHL "])
def test_one_slip(typed: str) -> None:
    assert slip_of(typed, ["TIE", "CHK"]) == "CHK"


OWN = ["", "C", "K", "CHK", "chk", "CHK1", "CHK2", "CH1", "KHC", "CHKS", "XCHK", "TREE", "HCKK", "CKHH"]


@pytest.mark.parametrize("typed", OWN)
def test_no_slip(typed: str) -> None:
    """Another code, one with a number, or a longer word."""
    assert slip_of(typed, ["CHK"]) == ""


SHORT = [("B", "A"), ("A", "AB"), ("CL", "CP"), ("C", "CP"), ("CHK2", "CHK1"), ("1CHK", "C1HK")]


@pytest.mark.parametrize(("typed", "meant"), SHORT)
def test_short_codes_and_numbers_are_their_own(typed: str, meant: str) -> None:
    assert slip_of(typed, [meant]) == ""


def test_two_letters_changed_over() -> None:
    assert slip_of("PC", ["CP"]) == "CP"
