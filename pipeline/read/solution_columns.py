"""Tells columns that may say how positions were solved, though neither heading nor words are known ones.

A column of few short values, most rows having one of them, which comes and goes from reading to reading: letters and
figures as codes are, yes and no, words of a script of its own, or words under a heading that speaks of quality.
"""

import unicodedata
from collections import Counter
from collections.abc import Iterable

from pipeline.files.heading_words import plain_letters, words_of
from pipeline.letter_case import folded
from pipeline.read.solution_words import FIXED, is_coarse, is_fixed
from pipeline.read.yes_no import YES_NO, are_yes_or_no

#: Different values that such a column has at the least and the most, and letters of each.
_FEWEST, _MOST, _LONG = 2, 6, 20
#: Readings that show it, the share of them that has a value, and that has the commonest one.
_SOME, _FILLED, _COMMONEST = 10, 0.95, 0.5
#: Stems of headings that speak of how good a position is, or how it came about.
_STEMS = (
    "qualit", "kvalit", "calid", "calit", "kwalit", "kakovost", "jakos", "laatu", "minoseg", "accura", "genau",
    "nauwkeur",
    "noyaktig", "nojaktig", "noggrann", "tarkku", "dokladn", "presn", "tocnost", "natanc", "pontoss", "exact", "esatt",
    "precis", "hassas", "status", "statut", "estado", "stato", "solut", "soluc", "soluz", "losung", "loesung",
    "losning",
    "oploss", "ratkais", "rozwiaz", "resen", "resit", "rjesen", "megold", "lahend", "risinaj", "sprend", "lausn",
    "cozum", "fix", "fiks", "gnss", "gps", "rtk", "ambig", "качеств", "точност", "решен", "якіст", "статус",
)  # fmt: skip
#: Words of headings of what is something else, by any values: what a thing is or is like, pictures, stakes, the pole.
_SAID_OF_ELSE = """
    code kode kod kood codigo codice layer level ebene calque capa camada strato laag lag taso warstwa vrstva sloj слой
    图层
    photo foto picture image bild bilde kuva zdjecie 照片 写真 사진 remark remarks comment comments note notes bemerkung
    remarque nota notas opmerking merknad anmarkning huomautus uwagi poznamka opomba napomena примечание 备注 備考 비고
    type typ tipo art material werkstoff materiau materiale materiaal zone zona area sheet blatt feuille hoja lot parcel
    tilt tilted imu neigung stake staked stakeout absteckung side seite cote lado lato zijde side left right string line
    linie ligne linea linha lijn linje linia weather wetter crew team operator user device project job tag day session
    sitzung setup antenna antenne antena pole rod stab canne sats satellites satelliten channel check checked printed
    deleted exported selected visible group gruppe groupe grupo gruppo groep feature class klasse objekt object
    condition zustand etat hemisphere direction richtung sense species surface belag usage use nutzung phase etape
"""
_ELSE = frozenset(map(plain_letters, _SAID_OF_ELSE.split()))


#: Words of a heading beside one for fixed that say no more of what is.
_SAID_BESIDE_FIXED = """
    is ist est es e er ar on je jest solution position point losung loesung ambiguity ambiguities ambiguitat
    ambiguitaten ambiguite ambiguites ambiguedad ambiguita mehrdeutigkeiten rtk gnss gps
"""
_BESIDE_FIXED = frozenset(_SAID_BESIDE_FIXED.split())


def asks_whether_fixed(heading: str, words: Iterable[str]) -> bool:
    """Tell whether a column answers by yes or no whether a solution is fixed: a heading "Fixiert" above WAHR."""
    said = [word for word in words_of(heading) if word not in _BESIDE_FIXED]
    return bool(said) and (set(said) <= FIXED or "".join(said) in FIXED) and are_yes_or_no(words)


def may_show_solutions(heading: str, counts: Counter[str], rows: int, stretches: int) -> bool:
    """Tell whether a column that no heading or word tells may say which positions are fixed solutions.

    Args:
        heading: of the column; that it is not a known one is for the caller to say.
        counts: how many of the rows have each of its values.
        rows: readings of the file.
        stretches: how often a value begins that the reading before has not.
    """
    if not _FEWEST <= len(counts) <= _MOST or rows < _SOME or counts.total() < _FILLED * rows:
        return False
    if (
        max(counts.values()) < _COMMONEST * rows
        or stretches <= len(counts)
        or any(len(each) > _LONG for each in counts)
    ):
        return False
    words = words_of(heading)
    if not _ELSE.isdisjoint(words):
        return False
    values = [folded(each) for each in counts]
    if all(len(each) == 1 and each.isalnum() for each in values) or frozenset(values) in YES_NO:
        return True
    if not all(_is_word(each) for each in values):
        return False
    speaks = any(stem in word for word in words for stem in _STEMS)
    return speaks or not any(map(_is_latin, values)) or any(is_fixed(each) or is_coarse(each) for each in values)


def _is_word(text: str) -> bool:
    """Tell whether a value is letters alone, of one word or several, as an id of a base or a rover is not."""
    return any(map(str.isalpha, text)) and not any(map(str.isdecimal, text))


def _is_latin(text: str) -> bool:
    return any("LATIN" in unicodedata.name(letter, "") for letter in plain_letters(text))
