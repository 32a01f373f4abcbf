"""Words of headings: letters without their accents, and words that only a capital parts; expected by eye."""

import pytest

from pipeline.files.heading_words import plain_letters, set_apart


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("Höhe", "Hohe"), ("Größe", "Grosse"), ("Wysokość", "Wysokosc"), ("høyde", "hoyde"), ("Længde", "Laengde"),
        ("Ho\u0308he", "Hohe"), ("yükseklik", "yukseklik"), ("Height [m]", "Height [m]"), ("", ""),
    ],
)  # fmt: skip
def test_letters_lose_their_accents(text: str, plain: str) -> None:
    assert plain_letters(text) == plain


@pytest.mark.parametrize(
    ("heading", "apart"),
    [
        ("OrthoHt", "Ortho Ht"), ("UTCOffset", "UTC Offset"), ("timeUTC", "time UTC"), ("GPSTimeUTC", "GPS Time UTC"),
        ("MSL", "MSL"), ("Ortho Ht", "Ortho Ht"), ("ellHgt2", "ell Hgt2"), ("height", "height"), ("", ""),
        ("標高Z", "標高 Z"), ("LängeM", "Länge M"),
    ],
)  # fmt: skip
def test_capitals_part_words(heading: str, apart: str) -> None:
    assert set_apart(heading) == apart
