"""Angles in the words and signs of other scripts are the numbers that they say."""

import pyarrow as pa
import pytest

from pipeline.files.angles import decimal_degrees, dms


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


@pytest.mark.parametrize(
    ("text", "letters", "degrees"),
    [
        ("8°35'57,32481\" LS", "NS", -(8 + 35 / 60 + 57.32481 / 3600)),
        ("3°35'57.5\"LU", "NS", 3 + 35 / 60 + 57.5 / 3600),
        ("115°11'56,61325\" BT", "EW", 115 + 11 / 60 + 56.61325 / 3600),
        ("LS 8 35 57.5", "NS", -(8 + 35 / 60 + 57.5 / 3600)),
        ("50°24'03.83537\" с.ш.", "NS", 50 + 24 / 60 + 3.83537 / 3600),
        ("30°36'18.68327\" в. д.", "EW", 30 + 36 / 60 + 18.68327 / 3600),
        ("50°24'03.5\" пн.ш.", "NS", 50 + 24 / 60 + 3.5 / 3600),
        ("30°36'18.5\" сх. д.", "EW", 30 + 36 / 60 + 18.5 / 3600),
        ("33°52'10.5\" ю. ш.", "NS", -(33 + 52 / 60 + 10.5 / 3600)),
        ("14°30'02.5\" v. d.", "EW", 14 + 30 / 60 + 2.5 / 3600),
        ("50°30'02.5\" s. š.", "NS", 50 + 30 / 60 + 2.5 / 3600),
    ],
)
def test_abbreviations_of_hemispheres_in_other_languages(text: str, letters: str, degrees: float) -> None:
    """Indonesian, Russian, Ukrainian and Czech, by their dictionaries; of the other axis they are unreadable."""
    values, unread = dms(pa.array([text, None]), letters)
    assert values[0] == pytest.approx(degrees, abs=1e-12) and unread.tolist() == [False, False]
    assert dms(pa.array([text]), "EW" if letters == "NS" else "NS")[1].tolist() == [True]


def test_decimal_degrees_may_have_them_too() -> None:
    values, unread = decimal_degrees(pa.array(["8.59925689° LS", "43 S", "LS-12"]), "NS")
    assert values[0] == pytest.approx(-8.59925689, abs=1e-12) and unread.tolist() == [False, True, True]
