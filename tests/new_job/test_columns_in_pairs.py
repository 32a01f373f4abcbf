"""Columns that stand in pairs, and twice: each is put with its own, and what is left out is told."""

import tomllib
from pathlib import Path

import pytest
from folders_made import cells, job_of, lay, write

from pipeline.new_job import new_job

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "solution": "Sol", "code": "Code"}


def _columns(path: str) -> dict[str, str]:
    found: dict[str, str] = tomllib.loads(Path(path).read_text(encoding="utf-8"))["points"][0]["columns"]
    return found


@pytest.mark.parametrize("order", [("lday", "lclock", "uday", "uclock"), ("uclock", "lclock", "lday", "uday")])
def test_a_time_of_day_goes_with_the_date_of_its_own_clock(order: tuple[str, ...], tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    called = {"lday": "Local Date", "lclock": "Local Time", "uday": "UTC Date", "uclock": "UTC Time"}
    forms = {"lday": "%Y-%m-20", "lclock": "%H:59:59", "uday": "%Y-%m-%d", "uclock": "%H:%M:%S"}
    told = {word: cells(job, "time", lambda at, form=form: at.strftime(form)) for word, form in forms.items()}  # type: ignore[misc]
    write(tmp_path / "rover.csv", job, _HEADS | {word: called[word] for word in order}, told=told)
    columns = _columns(new_job(tmp_path).path)
    assert (columns["date"].split()[0], columns["time"].split()[0]) in {("UTC", "UTC"), ("Local", "Local")}


def test_a_letter_with_its_angle_behind_it_is_that_angle(tmp_path: Path) -> None:
    """Latitudes and longitudes of a site may both be below 90 degrees: no number tells them apart."""
    job = job_of()
    lay(tmp_path, job)
    told = {"longitude": [f"{value - 100:.9f}" for value in job.rows["longitude"].tolist()]}
    heads = _HEADS | {"latitude": "X (Lat)", "longitude": "Y (Lon)", "time": "Time UTC"}
    write(tmp_path / "rover.csv", job, heads, told=told)
    columns = _columns(new_job(tmp_path).path)
    assert (columns["latitude"], columns["longitude"]) == ("X (Lat)", "Y (Lon)")


@pytest.mark.parametrize("both", [True, False])
def test_positions_that_stand_twice_are_told(both: bool, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    more = {"easting": "Easting", "northing": "Northing"} if both else {}
    write(tmp_path / "rover.csv", job, _HEADS | more | {"time": "Time UTC"})
    notes = [note for note in new_job(tmp_path).notes if "there are also positions in" in note]
    assert len(notes) == both
    assert not both or notes[0].startswith('rover.csv: there are also positions in "Easting" and "Northing"')


def test_the_position_of_the_base_is_no_second_one(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    told = {"be": ["100.0"] * len(job.rows["name"]), "bn": ["200.0"] * len(job.rows["name"])}
    write(
        tmp_path / "rover.csv",
        job,
        _HEADS | {"time": "Time UTC", "be": "Base Easting", "bn": "Base Northing"},
        told=told,
    )
    assert not [note for note in new_job(tmp_path).notes if "there are also positions in" in note]
