"""Columns that count time since 1970 under unusual headings, and numbers as large that are none."""

import datetime as dt
from pathlib import Path

import pytest

from pipeline.new_job import new_job
from pipeline.problems import JobError

_BEGINS = int(dt.datetime(2026, 3, 22, 18, 40, tzinfo=dt.UTC).timestamp())


def laid(folder: Path, heading: str, values: list[int]) -> None:
    rows = [f"P{number},52.34{number},13.52{number},81.0,{value}" for number, value in enumerate(values)]
    text = "\n".join([f"Point,Latitude,Longitude,Ellipsoidal height,{heading}", *rows])
    (folder / "obs.csv").write_text(text, encoding="utf-8")


@pytest.mark.parametrize(("heading", "unit"), [("t_obs", "seconds"), ("utc_ms", "milliseconds"), ("moment", "seconds")])
def test_numbers_of_one_day_in_order_are_times_where_the_heading_hints_at_it(
    heading: str, unit: str, tmp_path: Path
) -> None:
    scale = 1000 if unit == "milliseconds" else 1
    laid(tmp_path, heading, [(_BEGINS + 67 * number) * scale for number in range(8)])
    written = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    assert f'time_format = "unix-{unit}"' in written and f'time = "{heading}"' in written
    assert "start = 2026-03-22T18:" in written


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("obs", [_BEGINS + number for number in range(8)]),  # counted up one by one
        ("obs", [1_110_000_000 + 90_000_000 * (number % 5) for number in range(8)]),  # in no order, over years
        ("parcel", [_BEGINS + 67 * number for number in range(8)]),
        ("obs", [3_900_000_000 + 67 * number for number in range(8)]),  # in the next century
    ],
)
def test_other_large_numbers_are_no_times(heading: str, values: list[int], tmp_path: Path) -> None:
    laid(tmp_path, heading, values)
    with pytest.raises(JobError):
        new_job(tmp_path)


def test_degrees_minutes_and_seconds_in_columns_that_no_heading_tells_are_said_to_be(tmp_path: Path) -> None:
    heads = "Point,A,B,C,D,E,F,Ellipsoidal height,Time"
    (tmp_path / "obs.csv").write_text(
        f"{heads}\nP1,52,20,37.1,13,31,39.8,81.0,2026-03-22T18:40:00Z\n", encoding="utf-8"
    )
    with pytest.raises(JobError) as raised:
        new_job(tmp_path)
    assert "in columns of their own, whose headings do not say which they are" in str(raised.value)


def test_what_no_register_is_recognised_for_stands_before_the_questions(tmp_path: Path) -> None:
    laid(tmp_path, "t_obs", [_BEGINS + 67 * number for number in range(8)])
    (tmp_path / "marks.csv").write_text("mark;Y;X\nCP1;2*642*723.876;1*205*676.607\n", encoding="utf-8")
    started = new_job(tmp_path)
    assert "marks.csv has no positions that can be read" in started.lacking and started.notes[0] == started.lacking
    written = Path(started.path).read_text(encoding="utf-8")
    assert written.index("no register of control marks") < written.index("OPEN:")
