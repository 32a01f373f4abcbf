"""Times of day of six figures beside a date, under the headings of many languages with the clock that they are of."""

from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from issued import current_issue
from told_of import told_of

from pipeline import run_job
from pipeline.new_job import new_job

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "time": "Time", "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip


def _laid(folder: Path, date: str, clock: str) -> None:
    """Lay a job whose times stand in two columns of figures, in UTC."""
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, _HEADS, time="%Y%m%d@%H%M%S")
    text = (folder / "rover.csv").read_text(encoding="utf-8")
    assert text.count("@") == text.count("\n") - 1
    (folder / "rover.csv").write_text(text.replace("Time", f"{date},{clock}", 1).replace("@", ","), encoding="utf-8")


@pytest.mark.parametrize(
    ("date", "clock"),
    [
        ("Date", "Time UTC"), ("Fecha", "Hora UTC"), ("Fecha UTC", "Hora UTC"), ("Date", "Heure UTC"),
        ("Datum", "Uhrzeit (UTC)"), ("Data", "Godzina UTC"), ("Data", "Czas UTC"), ("Pvm", "Kello UTC"),
        ("Date", "Time of day UTC"),
    ],
)  # fmt: skip
def test_the_clock_in_a_heading_does_not_hide_that_it_says_times(date: str, clock: str, tmp_path: Path) -> None:
    _laid(tmp_path, date, clock)
    started = new_job(tmp_path)
    answer(Path(started.path), HEIGHT)
    outcome = run_job(started.path)
    issue = current_issue(tmp_path / "out")
    known = np.array([job_of().truth.of(row["name"]) for row in issue.points.rows])
    assert outcome.record["verdict"] == "proven"
    assert np.abs(issue.points.xyz() - known).max() < 0.001


def test_under_a_heading_that_says_no_time_it_is_told_what_they_look_like(tmp_path: Path) -> None:
    """Six figures that are all hours, minutes and seconds are no seconds of a day, and lack no zero."""
    _laid(tmp_path, "Date", "Seconds")
    said = told_of(tmp_path)
    assert "hours, minutes and seconds in one number" in said and "leading zeros" not in said
