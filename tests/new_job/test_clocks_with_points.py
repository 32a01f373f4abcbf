"""Times of day such as 08.30.02, which have the form of a date, beside a column of dates."""

import tomllib
from pathlib import Path

import pytest
from folders_made import cells, job_of, lay, write
from told_of import told_of

from pipeline.new_job import new_job

_HEADS = {"name": "Punktnr", "time": "Dato", "longitude": "Længdegrad", "latitude": "Breddegrad"}
_HEADS |= {"height": "Ellipsoidehøjde", "code": "Kode", "solution": "Løsning"}


def _laid(folder: Path, heading: str, form: str) -> None:
    job = job_of()
    lay(folder, job)
    clock = cells(job, "time", lambda at: at.strftime(form))
    write(folder / "m.csv", job, {**_HEADS, "clock": heading}, time="%d-%m-%Y", told={"clock": clock})


@pytest.mark.parametrize("heading", ["Kl.", "Klokkeslæt", "Målt"])
def test_times_of_day_with_points_are_times_whatever_they_are_called(heading: str, tmp_path: Path) -> None:
    """As clocks are written in Denmark, Finland and Italy: 08.30.02 is no date beside 17-03-2026."""
    _laid(tmp_path, heading, "%H.%M.%S")
    text = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    (block,) = tomllib.loads(text)["points"]
    assert (block["columns"]["date"], block["columns"]["time"]) == ("Dato", heading)
    assert block["time_format"] == "%d-%m-%Y %H.%M.%S"


def test_a_second_date_is_no_time_of_day(tmp_path: Path) -> None:
    """The day of the last check of the instrument, one in all rows."""
    _laid(tmp_path, "Kontrolleret", "12.05.24")
    assert "time of day" in told_of(tmp_path)


def test_numbers_of_parts_are_no_times_of_day(tmp_path: Path) -> None:
    """Section, part and number, counted one by one: 01.01.01, 01.01.02, ..."""
    job = job_of()
    lay(tmp_path, job)
    number = [f"01.{1 + at // 9:02d}.{1 + at % 9:02d}" for at in range(len(job.rows["name"]))]
    write(tmp_path / "m.csv", job, {**_HEADS, "clock": "Nr"}, time="%d-%m-%Y", told={"clock": number})
    assert "time of day" in told_of(tmp_path)
