"""Dates in a register, which some languages call "Datum", and times that are the days of a spreadsheet."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.problems import JobError

HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time UTC",
         "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip


def _with_dates(folder: Path, texts: tuple[str, str], heading: str = "Datum") -> None:
    """Give every mark an earlier row, 80 mm west of its newer one, and both a date."""
    path = folder / "control.csv"
    head, *rows = (line.split(",") for line in path.read_text(encoding="utf-8").splitlines())
    at = head.index("easting")
    lines = [[*head, heading]]
    for row in rows:
        old = [*row]
        old[at] = f"{float(row[at]) - 0.08:.5f}"
        lines += [[*old, texts[0]], [*row, texts[1]]]
    path.write_text("".join(",".join(line) + "\n" for line in lines), encoding="utf-8")


def test_the_newest_row_of_a_mark_is_used_by_a_column_of_dates_called_datum(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "a.csv", job, HEADS, time="%Y-%m-%d %H:%M:%S")
    _with_dates(tmp_path, ("01.05.1999", "01.06.2020"))
    started = new_job(tmp_path)
    (told,) = [why for name, role, why in started.files if name == "control.csv" and role == "register"]
    assert "not recognised" not in told
    page = Path(started.path).read_text(encoding="utf-8")
    assert tomllib.loads(page)["control"]["columns"]["dated"] == "Datum"
    assert '# "Datum" holds dates: of several rows of one mark the newest is used' in page
    answer(Path(started.path), HEIGHT)
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


@pytest.mark.parametrize(
    ("heading", "texts"),
    [("Observed", ("1999-05-01", "2020-06-01")), ("Epoch", ("1999", "2020")), ("År", ("1999", "2020")),
     ("Data", ("01.05.1999", "01.06.2020"))],
)  # fmt: skip
def test_dates_of_marks_are_known_under_headings_of_times_and_of_years(
    heading: str, texts: tuple[str, str], tmp_path: Path
) -> None:
    """Marks of a register are observed over decades, the readings of an export within days."""
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "a.csv", job, HEADS, time="%Y-%m-%d %H:%M:%S")
    _with_dates(tmp_path, texts, heading)
    started = new_job(tmp_path)
    (told,) = [why for name, role, why in started.files if name == "control.csv" and role == "register"]
    assert "not recognised" not in told
    assert tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["control"]["columns"]["dated"] == heading


def test_marks_of_one_day_are_not_taken_for_readings_without_times_of_day(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "a.csv", job, HEADS, time="%Y-%m-%d %H:%M:%S")
    _with_dates(tmp_path, ("2020-06-01", "2020-06-01"), "Observed")
    (told,) = [why for name, role, why in new_job(tmp_path).files if name == "control.csv" and role == "register"]
    assert '"Observed" holds dates without times of day, which are taken for those of the marks' in told
    assert "[points.columns]" not in told


def test_datums_of_the_same_heading_are_no_dates(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "a.csv", job, HEADS, time="%Y-%m-%d %H:%M:%S")
    _with_dates(tmp_path, ("NZGD2000", "NZGD2000"))
    control = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["control"]
    assert "dated" not in control.get("columns", {})


@pytest.mark.parametrize("heading", ["Date et heure", "Datum och tid", "Time"])
def test_days_of_a_spreadsheet_are_times_under_a_heading_that_says_date_and_time(heading: str, tmp_path: Path) -> None:
    """Day 1 is 31 December 1899, as spreadsheets count but for their 29 February 1900."""
    job = job_of()
    lay(tmp_path, job)
    days = (job.rows["time"] - np.datetime64("1899-12-30")) / np.timedelta64(1, "D")
    write(tmp_path / "a.csv", job, {**HEADS, "time": heading}, told={"time": [f"{day:.7f}" for day in days.tolist()]})
    started = new_job(tmp_path)
    answer(Path(started.path), {**HEIGHT, "time_zone": '"UTC"'})
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and record["sessions"][0]["start"].startswith("2026-03-19")


@pytest.mark.parametrize(
    ("since", "until"),
    [("Valid from", "Valid to"), ("Vrijedi od", "Vrijedi do"), ("Gültig ab", "Gültig bis"), ("Válido desde", "Hasta")],
)
def test_of_rows_with_from_and_until_the_one_that_began_last_is_used(since: str, until: str, tmp_path: Path) -> None:
    """The row that still holds has no end."""
    job = job_of()
    lay(tmp_path, job)
    lines = (tmp_path / "control.csv").read_text(encoding="utf-8").splitlines()
    before = [f"{line.split(',')[0]},{float(line.split(',')[1]) + 0.412:.4f},{','.join(line.split(',')[2:])}"
              for line in lines[1:]]  # fmt: skip
    rows = [f"{lines[0]},{since},{until}", *(f"{line},1998-01-01,2014-12-31" for line in before),
            *(f"{line},2015-01-01," for line in lines[1:])]  # fmt: skip
    (tmp_path / "control.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    write(tmp_path / "rover.csv", job, HEADS)
    started = new_job(tmp_path)
    assert f'dated = "{since}"' in Path(started.path).read_text(encoding="utf-8")
    answer(Path(started.path), HEIGHT)
    text = Path(started.path).read_text(encoding="utf-8")
    Path(started.path).write_text(text.replace(f'dated = "{since}"', ""), encoding="utf-8")
    with pytest.raises(JobError, match=f'(?i)if "{since}" says since when a row holds, state it as dated'):
        run_job(started.path, dry_run=True)
    Path(started.path).write_text(text, encoding="utf-8")
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"
