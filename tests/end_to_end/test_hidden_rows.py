"""A workbook saved with a filter left on: the rows that it does not show are told, and what to do."""

from pathlib import Path

import pytest
from openpyxl import load_workbook
from running import record_of
from workbook_laid import job_of_a_workbook

from pipeline import check_job

TOLD = "hidden (first one here)"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return job_of_a_workbook(tmp_path)


def hide(path: Path, rows: range, **columns: bool) -> None:
    book = load_workbook(path.parent / "rover001.xlsx")
    assert book.active is not None
    for row in rows:
        book.active.row_dimensions[row].hidden = True
    for letter, hidden in columns.items():
        book.active.column_dimensions[letter].hidden = hidden
    book.save(path.parent / "rover001.xlsx")


@pytest.mark.parametrize(
    ("rows", "said"), [(range(4, 5), "1 row of the sheet is"), (range(4, 9), "5 rows of the sheet are")]
)
def test_rows_that_a_filter_hides_are_told(rows: range, said: str, path: Path) -> None:
    hide(path, rows)
    record = record_of(path)
    (note,) = [note for note in record["notes"] if TOLD in note]
    assert note.startswith("rover001.xlsx:4: ") and said in note and "clear the filter" in note
    assert record["rows"]["held_back"] == len(rows)
    assert any(TOLD in warning for warning in check_job(path).warnings)


def test_nothing_is_told_where_all_readings_are_shown(path: Path) -> None:
    hide(path, range(60, 80), C=True, E=True)  # blank rows below; columns are read by what they are called
    record = record_of(path)
    assert not any("hidden" in note for note in record["notes"])
    assert record["rows"]["held_back"] == 0
