"""Angles in the words and signs of other scripts are the numbers that they say."""

import pyarrow as pa
import pytest

from pipeline.files.angles import dms


@pytest.mark.parametrize(
    ("text", "letters", "degrees"),
    [
        ("東経139度29分55.76741秒", "EW", 139 + 29 / 60 + 55.76741 / 3600),
        ("西经 8度30分0.5秒", "EW", -(8 + 30 / 60 + 0.5 / 3600)),
        ("南緯 36 度 50 分 12.345 秒", "NS", -(36 + 50 / 60 + 12.345 / 3600)),
        ("127도 06분 19.1초", "EW", 127 + 6 / 60 + 19.1 / 3600),
    ],
)
def test_angles_in_words_of_east_asia(text: str, letters: str, degrees: float) -> None:
    values, unread = dms(pa.array([text, None, "東経"]), letters)
    assert values[0] == pytest.approx(degrees, abs=1e-12) and unread.tolist() == [False, False, True]
