"""Headings of two rows, such as "Position" merged over three cells above their own names: as offices write tables."""

import csv
from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from issued import current_issue
from openpyxl import Workbook
from simulate import Simulation

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.two_row_headings import joined_heading

_HEADS = {"name": "Point", "code": "Code", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon",
          "height": "Ell Height", "base": "Base", "solution": "Sol"}  # fmt: skip
_PLACED = ("Lat", "Lon", "Ell Height")


def two_rows(path: Path, group: str) -> list[list[str]]:
    """Return the rows of an export whose position has a heading of its own above it; others are merged downwards."""
    with path.open(newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    upper = [("" if name != "Lat" else group) if name in _PLACED else name for name in header]
    return [upper, [name if name in _PLACED else "" for name in header], *rows]


def laid(folder: Path, group: str, form: str) -> Simulation:
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, _HEADS)
    rows = two_rows(folder / "rover.csv", group)
    if form.endswith("with units"):
        rows.insert(2, ["m" if name == "Ell Height" else "deg" if name in _PLACED else "" for name in rows[1]])
    if form == "csv with a gap":
        rows.insert(2, ["" for _ in rows[1]])
    if form.startswith("csv"):
        with (folder / "rover.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file, delimiter=";").writerows(rows)
        return job
    (folder / "rover.csv").unlink()
    book = Workbook()
    assert book.active is not None
    for row in rows:
        book.active.append([float(cell) if at in (3, 4, 5) and _is_number(cell) else cell or None
                            for at, cell in enumerate(row)])  # fmt: skip
    book.active.merge_cells("D1:F1")
    book.save(folder / "rover.xlsx")
    return job


def _is_number(text: str) -> bool:
    return text[:1].isdigit() or text[:1] == "-"


@pytest.mark.parametrize(("group", "form"), [
    ("Position", "csv"), ("Współrzędne", "csv"), ("Position", "csv with units"), ("Position", "csv with a gap"),
    ("Position", "xlsx"), ("Position", "xlsx with units"),
])  # fmt: skip
def test_a_position_below_one_heading_is_drafted_and_run(group: str, form: str, tmp_path: Path) -> None:
    job = laid(tmp_path, group, form)
    started = new_job(tmp_path)
    text = Path(started.path).read_text(encoding="utf-8")
    assert "\nheader = 2\n" in text and "\nlatitude = 4\n" in text and '1 and 2: 1 is "Point", 2 is "Code"' in text
    answer(Path(started.path), HEIGHT)
    outcome = run_job(started.path)
    assert outcome.record["verdict"] == "proven"
    rows = job.rows["name"][job.rows["kind"] == "point"]
    issued = current_issue(tmp_path / "out")
    assert {row["name"] for row in issued.points.rows} == set(map(str, rows))
    between = len(issued.held_back.rows)  # the row of units, or without anything, which is no point's
    assert between == int(form not in ("csv", "xlsx")) and all(row["name"] is None for row in issued.held_back.rows)


def test_a_register_has_one(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS)
    with (tmp_path / "control.csv").open(newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    placed = ("easting", "northing", "height")
    upper = [("Coordinates" if name == "easting" else "") if name in placed else name for name in header]
    lower = [name if name in placed else "" for name in header]
    with (tmp_path / "control.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([upper, lower, *rows])
    started = new_job(tmp_path)
    answer(Path(started.path), HEIGHT)
    assert run_job(started.path).record["verdict"] == "proven"


_ROW = "CP1;512.3;7.1;3.25;512.4;7.2;3.3;2026-03-02"


@pytest.mark.parametrize(
    ("upper", "lower", "joined"),
    [
        ("Point;Measured;;;Design;;;Time", ";E;N;h;E;N;h;UTC",
         "Point;Measured E;Measured N;Measured h;Design E;Design N;Design h;Time UTC"),
        ("Point;Position (ft);;;Std Dev;;;Time", ";E;N;h;E;N;Up;",
         "Point;E (ft);N (ft);h (ft);Std Dev E;Std Dev N;Std Dev Up;Time"),
        # units below, a title above, a complete heading, a merged cell over a whole table: not plainly two rows
        ("Point;Easting;Northing;Height;sE;sN;sU;Time", ";m;m;m;m;m;m;", ""),
        ("Survey of the canal;;;;;;;", "Point;E;N;h;sE;sN;sU;Time", ""),
        ("Point;Place;;;;;;", ";E;N;h;sE;sN;sU;Time", ""),
        ("CP1;512.3;7.1;3.25;512.4;7.2;3.3;2026-03-02", _ROW, ""),
    ],
)  # fmt: skip
def test_which_rows_are_one_heading(upper: str, lower: str, joined: str) -> None:
    rows = [text.split(";") for text in (upper, lower, _ROW)]
    assert ";".join(joined_heading(rows)) == joined
    assert ";".join(joined_heading([*rows[:2], [""], rows[2]])) == joined
    assert joined_heading(rows[:2]) == []
