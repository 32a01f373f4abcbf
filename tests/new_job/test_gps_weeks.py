"""GPS weeks and seconds of the week under headings of many languages; nothing else is taken for them."""

import datetime as dt
import re
import tomllib
from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, job_of, lay, write
from issued import current_issue
from told_of import told_of

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.gps_weeks import like_weeks, named_weeks

_HEADS = {"name": "Point", "code": "Code", "week": "", "time": "", "longitude": "Longitude", "latitude": "Latitude",
          "height": "Ellipsoidal height", "solution": "Solution", "base": "Base"}  # fmt: skip
_EPOCH, _LEAP = dt.datetime(1980, 1, 6, tzinfo=dt.UTC), dt.timedelta(seconds=18)  # GPS is ahead of UTC since 2017
_WEEK = dt.timedelta(weeks=1)


def _lay(folder: Path, week: str, seconds: str) -> None:
    job = job_of()
    lay(folder, job)
    moments = [one.replace(tzinfo=dt.UTC) for one in job.rows["time"].astype("datetime64[us]").tolist()]
    weeks = [str((one + _LEAP - _EPOCH) // _WEEK) for one in moments]
    heads = _HEADS | {"week": week, "time": seconds}
    write(folder / "rover.csv", job, heads, told={"week": weeks},
          time=lambda one: f"{((one + _LEAP - _EPOCH) % _WEEK).total_seconds():.3f}")  # fmt: skip


@pytest.mark.parametrize(
    ("week", "seconds"),
    [
        ("GPS Week", "GPS Seconds"), ("WN", "TOW"), ("Settimana GPS", "Secondi GPS"), ("GPS-Woche", "GPS-Sekunden"),
        ("GPS-Woche", "Wochensekunde"), ("Semaine GPS", "Secondes de la semaine"),
        ("Semana GPS", "Segundo de semana"), ("GPS hét", "GPS mp"), ("GPS周", "周内秒"), ("Неделя GPS", "Секунды"),
        ("Tydzień GPS", "Sekundy tygodnia"), ("GPS週", "週秒"), ("GPS hafta", "Haftanın saniyesi"),
        ("GPS astea", "GPS segundoak"), ("GNSS wk", "GNSS tw"), ("GPS Week", "Sekunden"),
    ],
)  # fmt: skip
def test_weeks_and_seconds_are_read(week: str, seconds: str, tmp_path: Path) -> None:
    _lay(tmp_path, week, seconds)
    columns = tomllib.loads(Path(new_job(tmp_path).path).read_text(encoding="utf-8"))["points"][0]["columns"]
    assert (columns["gps_week"], columns["gps_seconds"]) == (week, seconds)


def test_the_points_come_out_where_they_are(tmp_path: Path) -> None:
    _lay(tmp_path, "Settimana GPS", "Secondi GPS")
    path = Path(new_job(tmp_path).path)
    answer(path, HEIGHT)
    run_job(path)
    points = current_issue(tmp_path / "out").points
    assert abs(points.xyz() - [job_of().truth.of(row["name"]) for row in points.rows]).max() < 0.001


def test_those_whose_headings_say_nothing_are_told(tmp_path: Path) -> None:
    _lay(tmp_path, "Kolom A", "Kolom B")
    assert re.search(r'"Kolom A" and "Kolom B" look like GPS weeks .* gps_week = "Kolom A"', told_of(tmp_path))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (["12"] * 4, ["1000", "1100", "1200", "1350"]),  # weeks of a year
        (["2410"] * 4, ["700000", "700010", "700020", "700045"]),  # beyond a week
        (["2410.5"] * 4, ["1000", "1100", "1200", "1350"]),
        (["362"] * 4, ["1000", "1100", "1200", "1350"]),  # since a rollover
        (["2410", "2405", "2300", "2200"], ["1000", "1100", "1200", "1350"]),  # years apart
        (["9999"] * 4, ["1000", "1100", "1200", "1350"]),  # yet to come
    ],
)
def test_other_numbers_are_no_weeks(first: list[str], second: list[str]) -> None:
    columns = {"Woche": first, "Sekunden": second}
    assert named_weeks(columns, list(columns)) is None
    assert named_weeks(columns | {"Woche": ["2410"] * 4, "Sekunden": ["1000", "1100", "1200", "1350"]}, list(columns))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (["2026"] * 5, ["1000", "1100", "1200", "1350", "1500"]),  # a year
        (["2410"] * 5, ["1", "2", "3", "4", "5"]),  # numbers of points
        (["2410"] * 5, ["1500", "300", "1200", "10", "1000"]),  # in no order
    ],
)
def test_columns_of_other_numbers_are_not_told_of(first: list[str], second: list[str]) -> None:
    columns = {"Kolom A": first, "Kolom B": second}
    assert like_weeks(columns, list(columns)) is None
    alike = {"Kolom A": ["2410"] * 5, "Kolom B": ["1000", "1100", "1200", "1350", "1500"]}
    assert like_weeks(alike, list(alike)) == ("Kolom A", "Kolom B")
