"""Exports and registers of which no heading says a position: their columns are found by what they hold, and asked."""

import tomllib
from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write

from pipeline import run_job
from pipeline.check import check_job
from pipeline.new_job import Started, new_job
from pipeline.problems import JobError

_TIME = "%Y-%m-%d %H:%M:%S"


def _keys(started: Started) -> list[str]:
    return [one.question.key for one in started.asked]


def test_degrees_without_known_headings_are_asked_for(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Point", "latitude": "Q1", "longitude": "Q2", "height": "Q3", "time": "Time UTC",
             "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip
    write(tmp_path / "a.csv", job, heads, time=_TIME)
    started = new_job(tmp_path)
    assert {"longitude", "latitude", "height"} <= set(_keys(started))
    with pytest.raises(JobError) as error:
        check_job(Path(started.path))
    assert "this question is still open: which of these columns is the longitude?" in str(error.value)
    answers = {**HEIGHT, "points.columns.latitude": '"Q1"', "points.columns.longitude": '"Q2"',
               "points.columns.height": '"Q3"'}  # fmt: skip
    answer(Path(started.path), answers)
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


@pytest.mark.parametrize(("first", "second"), [("Longitude", "Q2"), ("Q1", "Latitude")])
def test_so_is_the_other_where_one_of_two_headings_is_known(tmp_path: Path, first: str, second: str) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Point", "longitude": first, "latitude": second, "height": "EllHt", "time": "Time UTC",
             "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip
    write(tmp_path / "a.csv", job, heads, time=_TIME)
    likeliest = {one.question.key: one.question.candidates[0].value for one in new_job(tmp_path).asked}
    assert (likeliest["longitude"], likeliest["latitude"]) == (f'"{first}"', f'"{second}"')


def test_so_are_those_of_a_file_without_any_heading(tmp_path: Path) -> None:
    """Where both degrees are below 90, nothing in an export without headings tells longitude from latitude."""
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Q0", "latitude": "Q1", "longitude": "Q2", "height": "Q3", "time": "Q4", "solution": "Q5"}
    shifted = [f"{float(value) - 150.0:.11f}" for value in job.rows["longitude"].tolist()]
    write(tmp_path / "a.csv", job, heads, time=_TIME, told={"longitude": shifted})
    path = tmp_path / "a.csv"
    path.write_text("".join(path.read_text(encoding="utf-8").splitlines(keepends=True)[1:]), encoding="utf-8")
    (tmp_path / "control.csv").unlink()
    started = new_job(tmp_path)
    assert {"longitude", "latitude", "height"} <= set(_keys(started))


def test_a_register_without_known_headings_is_asked_for(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    path = tmp_path / "control.csv"
    first, rest = path.read_text(encoding="utf-8").split("\n", 1)
    path.write_text(first.replace("easting", "aa").replace("northing", "bb") + "\n" + rest, encoding="utf-8")
    heads = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time UTC",
             "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip
    write(tmp_path / "a.csv", job, heads, time=_TIME)
    started = new_job(tmp_path)
    assert {"easting", "northing"} <= set(_keys(started))
    answers = {**HEIGHT, "control.columns.easting": '"aa"', "control.columns.northing": '"bb"'}
    answer(Path(started.path), answers)
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


def test_beside_an_export_that_is_known_nothing_is_supposed(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "time": "Time UTC",
             "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip
    write(tmp_path / "a.csv", job, heads, time=_TIME)
    write(
        tmp_path / "photos.csv", job, {"name": "Name", "latitude": "Q1", "longitude": "Q2", "time": "Taken"}, time=_TIME
    )
    started = new_job(tmp_path)
    assert _keys(started) == ["target.height"]
    assert tomllib.loads(Path(started.path).read_text(encoding="utf-8"))["points"][0]["files"] == ["a.csv"]


def test_measurements_of_other_things_are_no_positions(tmp_path: Path) -> None:
    rows = "".join(f"2026-03-02 08:{at:02d}:00,{20 + at / 7:.3f},{1013 + at / 9:.3f}\n" for at in range(30))
    (tmp_path / "weather.csv").write_text(f"Time,Temp,Pressure\n{rows}", encoding="utf-8")
    with pytest.raises(JobError) as error:
        new_job(tmp_path)
    assert 'they are "Time", "Temp", "Pressure"' in str(error.value)
