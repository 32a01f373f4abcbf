"""Which of two exports is read first, by names as file managers and browsers give them to copies."""

from pathlib import Path

import pytest

from pipeline.read.named_copies import in_reading_order


def order(*names: str) -> list[str]:
    return [path.as_posix() for path in in_reading_order({name: Path(name) for name in names})]


@pytest.mark.parametrize(
    "copy",
    [
        "day1 (1).csv", "day1 (12).csv", "day1 - Copy.csv", "day1 - Copy (2).csv", "day1 - Kopie.csv", "day1 copy.csv",
        "day1 copy 2.csv", "day1 (copy).csv", "Copy of day1.csv", "Kopie von day1.csv",
    ],
)  # fmt: skip
def test_a_copy_comes_behind_its_original_and_before_what_follows_that(copy: str) -> None:
    files = [f"rover/{name}" for name in (copy, "day0.csv", "day1.csv", "day2.csv")]
    assert order(*files) == ["rover/day0.csv", "rover/day1.csv", f"rover/{copy}", "rover/day2.csv"]


def test_all_else_is_in_the_order_of_names() -> None:
    """Also what is named like a copy of a file that is not there, or is in another folder or format."""
    names = ["a/day1 (1).csv", "b/day1.csv", "day1 (1).csv", "day1 (2).csv", "day1.txt", "day1_1.csv", "day1-2.csv",
             "day (am) copy.csv", "photocopy.csv", "photo.csv", " copy.csv", "2.csv", "Copy of .csv"]  # fmt: skip
    assert order(*names) == sorted(names)
