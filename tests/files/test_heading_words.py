"""Words of headings: without accents, parted by signs, figures, capitals and scripts; expected by eye."""

import pytest

from pipeline.files.heading_words import (
    plain_letters,
    run_together,
    set_apart,
    with_numbers,
    words_as_written,
    words_of,
)


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
        ("UTC時間", "UTC 時間"), ("時間utc", "時間 utc"), ("σE", "σ E"), ("σe", "σe"), ("ΔHt", "Δ Ht"),
    ],
)  # fmt: skip
def test_capitals_part_words(heading: str, apart: str) -> None:
    assert set_apart(heading) == apart


@pytest.mark.parametrize(
    ("heading", "words"),
    [
        ("Ortho_Ht [m]", ["ortho", "ht", "m"]), ("LatDeg", ["lat", "deg"]), ("Précision (E)", ["precision", "e"]),
        ("Min_2", ["min"]), ("UTC+1", ["utc"]), ("Ho\u0308he \u2013 ü.NN", ["hohe", "u", "nn"]), ("[°]", []), ("", []),
        ("GRÖẞE", ["grosse"]), ("ÇÖZÜM", ["cozum"]), ("Lat\u00a0Lon", ["lat", "lon"]),
    ],
)  # fmt: skip
def test_signs_figures_and_capitals_part_words(heading: str, words: list[str]) -> None:
    assert words_of(heading) == words
    assert [word.casefold() for word in words_as_written(heading)] == words


def test_what_the_words_of_a_heading_are_besides_is_asked_for() -> None:
    assert words_of("hu95 2D_x", figures=True) == ["hu95", "2d", "x"]
    assert words_of("dX (East)", capitals=False) == ["dx", "east"]
    assert words_of("Lat °", signs="°'\"") == ["lat", "°"] and words_of("5' 3\"", signs="°'\"") == ["'", '"']
    assert words_as_written("Heure (MET)") == ["Heure", "MET"]
    assert words_of(with_numbers("N° de point")) == ["no", "de", "point"] and with_numbers("Lon°") == "Lon°"
    assert run_together(" Point-No. 2 (Nº) ") == "pointno2no"
