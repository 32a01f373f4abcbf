"""Words as two are compared: pairs of spellings that programs make of one word, in texts and in columns alike."""

import sys
import unicodedata

import pyarrow as pa
import pytest

from pipeline.letter_case import folded, one_form
from pipeline.tables import folded_column

#: One word as it is typed, as a program writes it in capitals, and with its accents set apart. What is a letter's
#: capital is Unicode's (SpecialCasing.txt for İ, Σ and ß).
ALIKE = (
    ("chk", "CHK"),
    ("nirengi", "NİRENGİ", "NIRENGI", "nırengı", "ni̇rengi̇", unicodedata.normalize("NFD", "NİRENGİ")),
    ("ελεγχος", "ΕΛΕΓΧΟΣ", "ελεγχοσ"),
    ("prüfmaß", "PRÜFMASS", "PRÜFMAẞ", unicodedata.normalize("NFD", "Prüfmaß")),
    ("référence", "RÉFÉRENCE", unicodedata.normalize("NFD", "RÉFÉRENCE")),
    ("đường", "ĐƯỜNG", unicodedata.normalize("NFD", "Đường")),
    ("контроль", "КОНТРОЛЬ"),
    ("ΰ", "Ϋ́", unicodedata.normalize("NFD", "ΰ")),
)
APART = (("e", "é"), ("u", "ü"), ("CM1", "CM2"), ("σ", "ο"), ("", "a"))
#: Every sign but those that only stand for halves of one.
SIGNS = [chr(number) for number in range(sys.maxunicode + 1) if not 0xD800 <= number < 0xE000]


@pytest.mark.parametrize("words", ALIKE, ids=lambda words: words[0])
def test_spellings_of_one_word_are_one(words: tuple[str, ...]) -> None:
    assert len(set(map(folded, words))) == 1
    assert len(set(folded_column(pa.array(words)).to_pylist())) == 1


@pytest.mark.parametrize(("one", "other"), APART)
def test_other_words_stay_apart(one: str, other: str) -> None:
    assert folded(one) != folded(other)


def test_texts_and_columns_are_folded_alike_whatever_the_sign() -> None:
    """In one column with all others, and where a text has the sign that stands between texts while they are folded."""
    expected = [folded(sign) for sign in SIGNS]
    assert folded_column(pa.array(SIGNS)).to_pylist() == expected
    assert folded_column(pa.array(SIGNS[1:])).to_pylist() == expected[1:]
    assert [folded(word) for word in expected] == expected, "what is folded stays as it is"


def test_blanks_around_a_word_are_none_of_it_and_nothing_stays_nothing() -> None:
    column = pa.chunked_array([[" CHK\u00a0", None], ["\tİ ", ""]], pa.string())
    assert folded_column(column).to_pylist() == ["chk", None, "i", ""]
    assert folded_column(column.combine_chunks().slice(1, 2)).to_pylist() == [None, "i"]
    assert folded_column(pa.array([], pa.string())).to_pylist() == []
    assert folded(None) == ""


def test_one_form_keeps_case() -> None:
    assert one_form(unicodedata.normalize("NFD", "PRÜFUNG é")) == "PRÜFUNG é"
