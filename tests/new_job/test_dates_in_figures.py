"""Dates in figures alone, with the year last or of two figures: read, and asked after where their order is open."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import HEIGHT, cells, job_of, lay, write
from issued import current_issue
from simulate import Simulation

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.dates_in_figures import figure_notation, is_figure_day

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
#: 10 March 2026: day and month may change places, and 26-03-10 may be of 2010.
_OPEN = dt.datetime(2026, 3, 10, 19, 30, tzinfo=dt.UTC)


def _cells(job: Simulation, form: str) -> list[str]:
    return cells(job, "time", lambda at: at.strftime(form))


def _proven(folder: Path, job: Simulation, answers: dict[str, str]) -> None:
    started = new_job(folder)
    answer(Path(started.path), HEIGHT | answers)
    outcome = run_job(started.path)
    issue = current_issue(folder / "out")
    known = np.array([job.truth.of(row["name"]) for row in issue.points.rows])
    assert outcome.record["verdict"] == "proven"
    assert np.abs(issue.points.xyz() - known).max() < 0.001


@pytest.mark.parametrize("date", ["%d%m%Y", "%m%d%Y", "%d%m%y", "%m%d%y", "%y%m%d"])
@pytest.mark.parametrize("clock", ["%H%M%S", "%H:%M:%S"])
def test_dates_and_times_of_day_in_two_columns_are_read(date: str, clock: str, tmp_path: Path) -> None:
    """Every one of these may have day and month in another order."""
    job = job_of(_OPEN)
    lay(tmp_path, job)
    told = {"day": _cells(job, date), "clock": _cells(job, clock)}
    write(tmp_path / "rover.csv", job, _HEADS | {"day": "Date", "clock": "Time (UTC)"}, told=told)
    _proven(tmp_path, job, {"time_format": f'"{date} {clock}"'})


@pytest.mark.parametrize(
    "form", ["%y%m%d-%H%M%S", "%d%m%Y %H%M%S", "%d%m%y %H%M%S", "%m%d%Y_%H%M%S", "%y%m%d %H:%M:%S", "%d%m%Y %H:%M"]
)
def test_dates_and_times_of_day_in_one_column_are_read(form: str, tmp_path: Path) -> None:
    job = job_of(_OPEN)
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS | {"time": "Time UTC"}, time=form)
    _proven(tmp_path, job, {"time_format": f'"{form}"'})


@pytest.mark.parametrize(
    ("date", "offered"),
    [
        ("%d%m%Y", ["%d%m%Y %H%M%S", "%m%d%Y %H%M%S"]),
        ("%y%m%d", ["%y%m%d %H%M%S", "%d%m%y %H%M%S"]),
        ("%Y%m%d", []),
    ],
)
def test_an_order_that_nothing_tells_is_asked_with_the_likeliest_first(
    date: str, offered: list[str], tmp_path: Path
) -> None:
    job = job_of(_OPEN)
    lay(tmp_path, job)
    told = {"day": _cells(job, date), "clock": _cells(job, "%H%M%S")}
    write(tmp_path / "rover.csv", job, _HEADS | {"day": "Date", "clock": "Time (UTC)"}, told=told)
    asked = [one.question for one in new_job(tmp_path).asked if one.question.key == "time_format"]
    assert [each.value.strip('"') for one in asked for each in one.candidates] == offered


@pytest.mark.parametrize("date", ["%d%m%Y", "%Y%m%d", "%d%m%y", "%d.%m.%Y"])
@pytest.mark.parametrize("first", [True, False], ids=["date-first", "time-first"])
def test_without_headings_two_columns_beside_one_another_are_date_and_time(
    date: str, first: bool, tmp_path: Path
) -> None:
    """Columns of blanks as data collectors print them, and nothing above them."""
    job = job_of()
    lay(tmp_path, job)
    day, clock = _cells(job, date), _cells(job, "%H%M%S")
    columns = [cells(job, word, str) for word in ("name", "latitude", "longitude", "height", "code")]
    columns += [day, clock] if first else [clock, day]
    lines = ["".join(cell.ljust(20) for cell in row).rstrip() for row in zip(*columns, strict=True)]
    (tmp_path / "rover.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    started = new_job(tmp_path)
    assert ("rover.txt", "export") in [(file, role) for file, role, _ in started.files]
    assert {"date", "time"} <= {line.split(" = ")[0] for line in Path(started.path).read_text("utf-8").splitlines()}


def test_figures_that_are_no_dates_are_taken_for_none(tmp_path: Path) -> None:
    """Six figures that count, eastings without decimals, and dates of years without GNSS."""
    assert not is_figure_day([str(603_000 + at) for at in range(60)])
    assert not is_figure_day([str(10_032_500 + 97 * at) for at in range(60)])
    assert not is_figure_day(["11031926", "12031926"])
    assert figure_notation(["100326-201210"]) is not None and figure_notation(["109926-201210", "1001-3"]) is None
    job = job_of()
    lay(tmp_path, job)
    heads = _HEADS | {"job": "Job", "time": "Time UTC"}
    write(tmp_path / "rover.csv", job, heads, told={"job": ["260310-074210"] * len(job.rows["name"])})
    page = Path(new_job(tmp_path).path).read_text("utf-8")
    assert 'time = "Time UTC"' in page and "time_format" not in page
