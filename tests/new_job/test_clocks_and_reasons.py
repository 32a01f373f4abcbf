"""What `new` says of exports that cannot be read, of runs of figures, and of two exports of which one has no offset."""

import csv
import datetime as dt
import tomllib
from pathlib import Path

import openpyxl
import pytest
from folders_made import Simulation, job_of, lay, write
from told_of import told_of

from pipeline.new_job import new_job
from pipeline.new_job.time_notation import time_notation

HEADS = {
    "name": "Point", "time": "Time", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "solution": "Solution",
    "code": "Code",
}  # fmt: skip


@pytest.mark.parametrize(
    ("texts", "formats"),
    [
        (["260313070000", "260314070306"], ("%d%m%y%H%M%S", "%y%m%d%H%M%S")),
        (["260332070000", "260331070306"], ("%d%m%y%H%M%S",)),
        (["20260313070000", "20260314070306"], ("%Y%m%d%H%M%S",)),
    ],
)
def test_runs_of_figures_keep_all_figures_of_each_part(texts: list[str], formats: tuple[str, ...]) -> None:
    """Twelve figures are no year 2603."""
    found = time_notation(texts)
    assert found is not None and set(found.formats) == set(formats)


def laid(folder: Path, heads: dict[str, str], **more: str) -> Simulation:
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, heads, **more)
    return job


def test_a_unit_that_cannot_be_read_is_said_where_sessions_are_asked_for(tmp_path: Path) -> None:
    laid(tmp_path, HEADS | {"sigma_east": "sE (km)", "sigma_north": "sN (km)"}, time="%Y-%m-%dT%H:%M:%S.%fZ")
    text = Path(new_job(tmp_path).path).read_text().replace("\n#  ", " ")
    assert 'rover.csv:1: the heading "sE (km)" (sigma_east) has a different unit' in text and "says why" not in text


#: Invented readings near Berlin, UTC in one export with its sign, in the other without.
WITH = """Point,Time,Lat,Lon,EllHt,Code
CM1-0700,2026-03-10T07:00:00Z,52.343628079,13.527727710,81.0542,CHK
CM2-0703,2026-03-10T07:03:06Z,52.341114862,13.529228650,77.2930,CHK
P001,2026-03-10T07:06:33Z,52.341414993,13.534747359,81.0592,FENCE
P002,2026-03-10T07:10:08Z,52.338368923,13.537153579,79.4495,TREE
P003,2026-03-10T07:13:35Z,52.344133746,13.532095532,74.1829,FENCE
"""
WITHOUT = """Point,Time,Lat,Lon,EllHt,Code
P004,2026-03-10T07:17:00,52.338819871,13.531174733,78.4743,TREE
P005,2026-03-10T07:20:33,52.340302028,13.536124207,80.7025,FENCE
P006,2026-03-10T07:23:33,52.341507674,13.535268937,82.2271,KERB
CM3-0727,2026-03-10T07:27:11,52.343281454,13.533813577,73.0287,CHK
CM1-0730,2026-03-10T07:30:46,52.343628089,13.527727493,81.0815,CHK
"""
MARKS = """mark,easting,northing,height
CM1,399707.491,5800277.947,83.165
CM2,399804.055,5799996.348,79.394
CM3,400121.274,5800230.979,75.126
"""


@pytest.mark.parametrize("zone", ["UTC", "Europe/Berlin"])
def test_one_export_without_an_offset_lies_in_the_session_by_each_answer(tmp_path: Path, zone: str) -> None:
    """The session has readings of both, and nobody knows yet where on its day those of the second lie."""
    ahead = dt.timedelta(hours=zone != "UTC")
    for name, text in (("a.csv", WITH), ("b.csv", WITHOUT), ("marks.csv", MARKS)):
        (tmp_path / name).write_text(text)
    times = [line.split(",")[1] for line in WITHOUT.splitlines()[1:]]
    for time in times:
        local = (dt.datetime.fromisoformat(time) + ahead).isoformat()
        (tmp_path / "b.csv").write_text((tmp_path / "b.csv").read_text().replace(time, local))
    (session,) = tomllib.loads(Path(new_job(tmp_path).path).read_text())["session"]
    moments = [dt.datetime.fromisoformat(time).replace(tzinfo=dt.UTC) for time in times]
    moments += [dt.datetime.fromisoformat(line.split(",")[1]) for line in WITH.splitlines()[1:]]
    assert session["start"] <= min(moments) and max(moments) < session["end"]


def test_an_offset_behind_a_blank_is_read(tmp_path: Path) -> None:
    laid(tmp_path, HEADS, time="%d.%m.%Y %H:%M:%S +00:00")
    written = tomllib.loads(Path(new_job(tmp_path).path).read_text())
    (block,) = written["points"]
    assert block["time_format"] == "%d.%m.%Y %H:%M:%S %z"
    assert "time_zone" not in block and "time_zone" not in written.get("source", {})


def test_degrees_and_minutes_in_one_number_are_said_to_be(tmp_path: Path) -> None:
    """43 degrees 31.5 minutes are written 4331.5 as receivers' own sentences have it."""
    job = job_of()
    lay(tmp_path, job)
    joined = {
        word: [f"{int(abs(value)) * 100 + abs(value) % 1 * 60:.7f}" for value in job.rows[word].tolist()]
        for word in ("latitude", "longitude")
    }
    write(tmp_path / "rover.csv", job, HEADS, told=joined)
    said = told_of(tmp_path)
    assert "degrees and minutes in one number" in said


def test_a_register_with_a_row_of_units_is_one(tmp_path: Path) -> None:
    laid(tmp_path, HEADS)
    lines = (tmp_path / "control.csv").read_text().splitlines()
    units = ",".join("m" if name in ("easting", "northing", "height") else "" for name in lines[0].split(","))
    (tmp_path / "control.csv").write_text("\n".join([lines[0], units, *lines[1:4]]) + "\n")
    assert tomllib.loads(Path(new_job(tmp_path).path).read_text())["control"]["file"] == "control.csv"


def test_a_workbook_with_readings_and_marks_on_sheets_of_their_own(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, HEADS)
    book = openpyxl.Workbook()
    book.remove(book.active)
    for sheet, name in (("Points", "rover.csv"), ("Control", "control.csv")):
        made = book.create_sheet(sheet)
        with (tmp_path / name).open(newline="") as lines:
            for row in csv.reader(lines):
                made.append([float(cell) if cell.replace(".", "").lstrip("-").isdigit() else cell for cell in row])
        (tmp_path / name).unlink()
    book.save(tmp_path / "day.xlsx")
    written = tomllib.loads(Path(new_job(tmp_path).path).read_text())
    assert [(block["files"], block["layer"]) for block in written["points"]] == [(["day.xlsx"], "Points")]
    assert (written["control"]["file"], written["control"]["layer"]) == ("day.xlsx", "Control")


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (("Year", "Month", "Day", "Hour"), 'the date is in several columns, "Year", "Month", "Day"'),
        (("Date", "Seconds"), '"Date" holds dates and "Seconds" numbers'),
    ],
)
def test_dates_and_times_in_parts_are_said_not_to_be_read(tmp_path: Path, names: tuple[str, ...], says: str) -> None:
    job = job_of()
    lay(tmp_path, job)
    moments = [moment.replace(tzinfo=dt.UTC) for moment in job.rows["time"].astype("datetime64[us]").tolist()]
    parts = {
        "Year": [str(one.year) for one in moments], "Month": [str(one.month) for one in moments],
        "Day": [str(one.day) for one in moments], "Hour": [str(one.hour) for one in moments],
        "Date": [f"{one:%Y-%m-%d}" for one in moments],
        "Seconds": [f"{one.hour * 3600 + one.minute * 60}" for one in moments],
    }  # fmt: skip
    heads = {word: name for word, name in HEADS.items() if word not in ("time", "solution")} | {
        name: name for name in names
    }
    write(tmp_path / "rover.csv", job, heads, told={name: parts[name] for name in names})
    said = told_of(tmp_path)
    assert says in said


@pytest.mark.parametrize(
    ("first", "ends"), [("2025-10-26T01:40", "2025-10-26T02:07:00+02:00"), ("2025-10-25T01:40", "2025-10-25T02:07:00")]
)
def test_a_bound_that_the_clock_shows_twice_is_written_with_its_offset(first: str, ends: str, tmp_path: Path) -> None:
    """Clocks in Berlin go back from three to two on the last Sunday of October (Directive 2000/84/EC)."""
    begins = dt.datetime.fromisoformat(first)
    lines = WITHOUT.splitlines()
    rows = [
        line.replace(line.split(",")[1], (begins + dt.timedelta(minutes=8 * number)).isoformat())
        for number, line in enumerate(lines[1:4])
    ]
    (tmp_path / "night.csv").write_text("\n".join([lines[0], *rows]), encoding="utf-8")
    started = new_job(tmp_path)
    assert f"\nend = {ends}\n" in Path(started.path).read_text(encoding="utf-8")
    assert any("comes twice in Europe/Berlin" in note for note in started.notes) == ends.endswith("+02:00")
