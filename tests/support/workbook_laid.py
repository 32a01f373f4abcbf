"""A simulated job whose only export is a workbook, as who works in a spreadsheet program saves it."""

import csv
import re
from pathlib import Path

from openpyxl import Workbook
from simulate import Plan, simulate

_FIGURE = re.compile(r"-?\d+\.\d+")


def job_of_a_workbook(folder: Path, sheet: str | None = None) -> Path:
    """Write a job of one session whose readings are in ``rover001.xlsx``, in a sheet of that name if one is given."""
    path = simulate(Plan(sessions=1, points=12, checks=2)).write(folder)
    text = folder / "rover001.csv"
    book = Workbook()
    assert book.active is not None
    book.active.title = sheet or book.active.title
    with text.open(encoding="utf-8", newline="") as opened:
        for row in csv.reader(opened):
            book.active.append([float(cell) if _FIGURE.fullmatch(cell) else cell for cell in row])
    book.save(folder / "rover001.xlsx")
    text.unlink()
    job = path.read_text(encoding="utf-8")
    pattern = next(line for line in job.splitlines() if line.startswith("files = "))
    named = 'files = ["rover001.xlsx"]' + (f'\nlayer = "{sheet}"' if sheet else "")
    path.write_text(job.replace(pattern, named), encoding="utf-8")
    return path
