"""A workbook with a sheet per day of which the job reads one: the others, which have its headings, are told."""

from pathlib import Path

import pytest
from openpyxl import load_workbook
from running import record_of
from workbook_laid import job_of_a_workbook

TOLD = "has the headings of the one that is read"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Lay a job whose readings are in the sheet "Day 1" of a workbook."""
    return job_of_a_workbook(tmp_path, "Day 1")


def beside(path: Path, name: str, first: int, last: int) -> None:
    """Copy rows of the sheet that is read into another one, below its headings."""
    book = load_workbook(path.parent / "rover001.xlsx")
    rows = list(book["Day 1"].iter_rows(values_only=True))
    sheet = book.create_sheet(name)
    for row in [rows[0], *rows[first:last]]:
        sheet.append(row)
    book.save(path.parent / "rover001.xlsx")


def test_a_sheet_of_another_day_that_no_block_reads_is_told(path: Path) -> None:
    beside(path, "Day 2", 2, 6)
    (note,) = [note for note in record_of(path)["notes"] if TOLD in note]
    assert note.startswith('rover001.xlsx: the sheet "Day 2", with 4 rows') and "block of its own" in note


def test_sheets_of_other_things_and_without_rows_are_not_told(path: Path) -> None:
    beside(path, "Empty form", 1, 1)
    book = load_workbook(path.parent / "rover001.xlsx")
    codes = book.create_sheet("Codes")
    for row in (["Code", "Meaning", "Layer"], ["101", "kerb", "12"], ["102", "wall", "14"]):
        codes.append(row)
    book.save(path.parent / "rover001.xlsx")
    assert not any(TOLD in note for note in record_of(path)["notes"])


def test_a_sheet_that_another_block_reads_is_not_told(path: Path) -> None:
    job = path.read_text(encoding="utf-8")
    one = job[job.index("[[points]]") :]
    beside(path, "Day 2", 2, 6)
    path.write_text(job.replace(one, f"{one}\n{one.replace('Day 1', 'Day 2')}"), encoding="utf-8")
    assert not any(TOLD in note for note in record_of(path)["notes"])
