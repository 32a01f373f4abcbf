"""Code pages of texts that are no UTF-8: told by words, whatever signs stand beside them.

What each page reads of another's bytes is in the tables of the pages themselves. Languages are written with the letters
that dictionaries have.
"""

from collections import Counter

import pytest

from pipeline.new_job.encodings import CodePages, code_pages
from pipeline.new_job.headings import is_known
from pipeline.new_job.questions import Known, Question
from pipeline.new_job.solutions import solutions

_ROW = "101;5{0}.1;21.2;100.3;2026-03-17T08:00:00Z;{1}"


def _known(text: str) -> int:
    return max(sum(map(is_known, line.replace(",", ";").split(";"))) for line in text.splitlines())


def _pages(page: str, header: str, cell: str = "FIX", above: str = "") -> CodePages | None:
    rows = [_ROW.format(number, cell) for number in range(8)]
    text = "\n".join([*([above] if above else []), header, *rows, ""])
    return code_pages(text.encode(page), _known)


_JAPANESE = "点名;緯度;経度;楕円体高;UTC;解の種類"
_RUSSIAN = "Точка;Широта;Долгота;Эллипсоидальная высота;UTC;Решение"
_TURKISH = "Nokta;Enlem;Boylam;Elipsoidal yükseklik;UTC;Çözüm"
_POLISH = "Punkt;Szerokość;Długość;Wysokość elipsoidalna;UTC;Rozwiązanie"


@pytest.mark.parametrize(
    ("page", "header", "above"),
    [
        ("cp932", _JAPANESE, "現場名：北工区"),
        ("cp932", _JAPANESE, "【観測】　（１２３）／△○①※㎜～％"),
        ("cp932", _JAPANESE, "35°39′29″"),
        ("cp932", f"{_JAPANESE};ｺｰﾄﾞ", ""),
        ("cp936", "点名;纬度;经度;大地高;UTC;解状态", "项目：城南"),
        ("cp1251", _RUSSIAN, "© Отдел изысканий"),
        ("cp1251", _RUSSIAN, "Отдел™ • изысканий † ‰"),
        ("cp1254", _TURKISH, "© Şirket"),
        ("cp1250", _POLISH, "Program polowy® 3"),
        ("cp1253", "Σημείο;Πλάτος;Μήκος;Υψόμετρο;UTC;Λύση", "© Τοπογραφικό"),
    ],
)
def test_signs_beside_words_leave_the_page_recognised(page: str, header: str, above: str) -> None:
    found = _pages(page, header, above=above)
    assert found is not None and found.names == (page,)


@pytest.mark.parametrize(
    ("page", "header", "cell"),
    [
        ("cp1252", "Punto;Latitud;Longitud;Altura elipsoidal;Año;Solución", "Señal"),
        ("cp1252", "Ponto;Latitude;Longitude;Altura elipsoidal;Hora;Solução", "Árvore"),
        ("cp1252", "Punkt;Breite;Länge;Höhe;Zeit;Lösung", "Größe"),
        ("cp1250", "Pontszám;Szélesség;Hosszúság;Magasság;Idő;Megoldás", "erdő"),
        ("cp1250", "Bod;Šířka;Délka;Výška;Čas;Řešení", "bříza"),
        ("cp1254", _TURKISH, "Ağaç"),
        ("cp1257", "Punkts;Platums;Garums;Augstums;Laiks;Risinājums", "Fiksēts"),
        ("cp1257", "Taškas;Platuma;Ilguma;Aukštis;Laikas;Sprendimas", "žymė"),
    ],
)
def test_the_language_of_the_headings_tells_the_page(page: str, header: str, cell: str) -> None:
    found = _pages(page, header, cell)
    assert found is not None and found.names == (page,)
    assert found.words[0][0] in f"{header};{cell}"


@pytest.mark.parametrize(("page", "cell"), [("cp1257", "Fiksēts"), ("cp1254", "çeşme"), ("cp1250", "bříza")])
def test_english_headings_tell_no_page(page: str, cell: str) -> None:
    found = _pages(page, "Point;Latitude;Longitude;Altitude;Date;Solution", cell)
    assert found is not None and len(found.names) > 1 and page in found.names


def test_headings_of_one_language_do_not_overrule_names_of_another() -> None:
    """German has no ó or ł: "Dół" would be "Dó³" in the page of western Europe."""
    found = _pages("cp1250", "Punkt;Breite;Länge;Höhe;Zeit;Lösung", "Dół1")
    assert found is not None and "cp1250" in found.names


@pytest.mark.parametrize(
    ("header", "cell"),
    [
        ("Punto;Data;Ora;Latitudine;Longitudine;Quota", "Peña"),
        ("Punto;Fecha;Hora;Latitud;Longitud;Altura", "Forêt"),
        ("Punt;Datum;Tijd;Breedtegraad;Lengtegraad;Hoogte", "Plaça"),
        ("Punto;Data;Ora;Latitudine;Longitudine;Quota", "São"),
    ],
)
def test_a_name_of_abroad_makes_no_page_of_systems_long_gone(header: str, cell: str) -> None:
    """Such pages have other letters for its bytes that the language does have: "PeÒa" in Italian."""
    found = _pages("cp1252", header, cell)
    assert found is not None and "cp1252" in found.names


def test_kana_of_half_width_alone_are_asked_after() -> None:
    """Half-width kana alone, beside English headings: many pages have letters or signs for their bytes."""
    found = _pages("cp932", "Point;Latitude;Longitude;Ell Height;UTC;Code", "ﾏﾝﾎｰﾙ")
    assert found is not None and len(found.names) > 1 and "cp932" in found.names


def test_solutions_are_accepted_as_every_open_page_spells_them() -> None:
    wrong = "Fiksēts".encode("cp1257").decode("cp1252")
    state = solutions(Counter({wrong: 5, "Autonoms": 2}), [("cp1252", "cp1257")])
    assert isinstance(state, Known) and state.value == f'["{wrong.casefold()}", "fiksēts"]'
    asked = solutions(Counter({"Föst": 5}), [("cp1252", "cp1253")])
    assert isinstance(asked, Question)
    assert [one.value for one in asked.candidates] == [f'["Föst", "{"Föst".encode("cp1252").decode("cp1253")}"]']
