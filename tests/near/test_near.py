"""Nearest names for messages: what a person meant by a slip of the keyboard, and nothing for what is another word."""

import pytest

from pipeline.near import listed, misspelled, nearest

KEYS = ["name", "folder", "time_zone", "max_sigma_horizontal", "latitude", "longitude", "height", "epoch"]


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("timezone", "time_zone"), ("Time-Zone", "time_zone"), ("max_sigma_horizontl", "max_sigma_horizontal"),
        ("lat", "latitude"), ("hieght", "height"), ("heights", "height"), ("NAME", "name"), ("fodler", "folder"),
    ],
)  # fmt: skip
def test_slips(word: str, meant: str) -> None:
    assert nearest(word, KEYS, 1) == [meant]


@pytest.mark.parametrize("word", ["client", "datum", "surveyor", "", " ", "x", "\n", "comment", "project"])
def test_other_words_are_near_nothing(word: str) -> None:
    assert nearest(word, KEYS) == []


@pytest.mark.parametrize(
    ("word", "marks", "near"),
    [
        ("CM7", ["CM1", "CM2"], []),  # another mark, not a slip
        ("CM21", ["CM12", "CM3"], ["CM12"]),  # figures changed places
        ("BM7", ["BM 7", "BM07", "BM8"], ["BM 7", "BM07"]),
        ("cm1", ["CM1"], ["CM1"]),
        ("K\u006f\u0308ln", ["Köln"], ["Köln"]),  # an accent as a sign of its own
        ("CM11", ["CM1", "XY9"], ["CM1"]),
    ],
)
def test_marks(word: str, marks: list[str], near: list[str]) -> None:
    assert nearest(word, marks) == near


def test_a_list_is_cut_and_counted() -> None:
    assert listed(["a", "b", "a"], '"') == '"a", "b"'
    assert listed(map(str, range(1012))).endswith("11 and 1,000 more")


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("TM1", ["CM1"]), ("CMM1", ["CM1"]), ("C1", ["CM1"]), ("MC1", ["CM1"]), ("cm 1", ["CM1"]), ("CM4", []),
        ("PEG", []), ("TM21", []), ("KP17", []),
    ],
)  # fmt: skip
def test_a_name_one_letter_off_may_be_meant_for_a_mark(word: str, meant: list[str]) -> None:
    """A letter, not a figure: CM4 is another mark than CM1."""
    assert misspelled(word, ["CM1", "KP71234"]) == meant
