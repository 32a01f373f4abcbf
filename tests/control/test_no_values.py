"""Cells of a register that say that there is no value: as empty ones, in any way in which people write that."""

from pathlib import Path

import pytest
from folders_made import drafted

from pipeline.files.no_values import is_no_value, stands_for_none
from pipeline.files.odd_text import why_no_number
from pipeline.new_job import new_job


@pytest.mark.parametrize("text", ["-", "—", "n/a", "N/A", "k.A.", "s/d", "nil", "#N/A", "*", " - ", "<NULL>"])
def test_signs_of_no_value_are_known(text: str) -> None:
    assert is_no_value(text)


@pytest.mark.parametrize("text", ["0", "CP1", "-1", "x", "1.-", "n"])
def test_other_texts_are_none(text: str) -> None:
    assert not is_no_value(text)


def test_figures_that_no_height_is_are_known() -> None:
    assert stands_for_none(-9999.0) and stands_for_none(-32768.0)
    assert not stands_for_none(0.0) and not stands_for_none(999.9)


@pytest.mark.parametrize(
    "word", ["brak", "Fehlt", "MANQUANT", "falta", "ei", "отсутствует", "нет", "yok", "なし", "无"]
)
def test_words_that_a_value_is_missing_are_known_in_many_languages(word: str) -> None:
    assert is_no_value(word)
    assert why_no_number(word) == "is not a number: it means no value: export an empty cell"


@pytest.mark.parametrize("text", ["no", "m", "ft", "ellipsoid", "N", "E", "Ei 12", "nav1"])
def test_units_and_names_are_no_such_words(text: str) -> None:
    assert not is_no_value(text)


@pytest.mark.parametrize("sign", ["-", "n/a", "k.A.", "#N/A", "brak", "отсутствует", ""])
def test_one_such_cell_leaves_the_other_heights_of_a_register_known(tmp_path: Path, sign: str) -> None:
    marks = [("CP1", 7000, 3000, "12.300"), ("CP2", 7060, 3045, "14.100"), ("CP3", 7120, 3090, sign)]
    (tmp_path / "control.csv").write_text(
        "Mark;E;N;h\n" + "".join(f"{name};{east}.000;{north}.000;{height}\n" for name, east, north, height in marks)
    )
    rows = [
        f"{name};{east}.412;{north}.207;{9 + at}.500;2026-03-17T07:{30 + at}:00Z"
        for at, (name, east, north, _) in enumerate(marks)
    ]
    (tmp_path / "day.csv").write_text("Point;E;N;Ellipsoidal height;Time (UTC)\n" + "\n".join(rows) + "\n")
    draft = drafted(new_job(tmp_path))
    assert "h" in draft.control_columns.values()
