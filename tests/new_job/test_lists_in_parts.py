"""A register, or the sessions, in several files or sheets, all of them needed; and heights that are formulas."""

import csv
import datetime as dt
from pathlib import Path

import openpyxl
import pytest
from folders_made import cells, job_of, lay, write

from pipeline.new_job import new_job

_HEADS = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "base": "Base"}


def _asked(folder: Path, key: str) -> str:
    (asks,) = (one.question.asks for one in new_job(folder).asked if one.question.key == key)
    return asks


@pytest.mark.parametrize("sheets", [False, True])
def test_registers_without_a_mark_in_common_are_to_be_combined(sheets: bool, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    with (tmp_path / "control.csv").open(encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    (tmp_path / "control.csv").unlink()
    book = openpyxl.Workbook()
    book.remove(book.active)
    for part in range(2):
        lines = [head, *rows[part::2]]
        if sheets:
            sheet = book.create_sheet(f"Area {part + 1}")
            for line in lines:
                sheet.append([float(cell) if cell.replace(".", "").isdigit() else cell for cell in line])
        else:
            (tmp_path / f"control{part}.csv").write_text("\n".join(map(",".join, lines)) + "\n", encoding="utf-8")
    if sheets:
        book.save(tmp_path / "control.xlsx")
    asks = _asked(tmp_path, "control.layer" if sheets else "control.file")
    assert "none of them has a mark of another" in asks and "combine in one table" in asks


def test_registers_with_marks_in_common_are_not_said_to_be_parts_of_one(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    head, *rows = (tmp_path / "control.csv").read_text(encoding="utf-8").splitlines()
    moved = [row.replace(",1507", ",1508", 1) for row in rows]
    (tmp_path / "control2.csv").write_text("\n".join([head, *moved]) + "\n", encoding="utf-8")
    assert "combine in one table" not in _asked(tmp_path, "control.file")


def test_sessions_in_two_tables_are_to_be_put_into_one(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    for number, one in enumerate(job.job["session"]):
        line = f"day{number},{one['start']:%Y-%m-%dT%H:%M:%SZ},{one['end']:%Y-%m-%dT%H:%M:%SZ},{one['base']}"
        (tmp_path / f"sessions{number}.csv").write_text(f"name,start,end,base\n{line}\n", encoding="utf-8")
    assert "put their rows into one file" in _asked(tmp_path, "sessions.file")


def test_heights_that_are_formulas_without_values_are_told(tmp_path: Path) -> None:
    """As a program writes them that computes nothing; a column of other numbers could be taken for the heights."""
    job = job_of()
    lay(tmp_path, job)
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Point", "Time UTC", "Latitude", "Longitude", "Ell height", "Raw"])
    read = (cells(job, word, dt.datetime.isoformat) for word in ("name", "time", "latitude", "longitude", "height"))
    for at, (name, time, latitude, longitude, height) in enumerate(zip(*read, strict=True), start=2):
        sheet.append([name, time, float(latitude), float(longitude), f"=F{at}+0", float(height)])
    book.save(tmp_path / "rover.xlsx")
    asks = _asked(tmp_path, "height")
    assert '"Ell height" is empty, or its formulas have no stored values' in asks
