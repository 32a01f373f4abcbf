"""An export on a 12-hour clock with AM and PM in a column of their own cannot be read, and is told so."""

import datetime as dt
from pathlib import Path

import pytest
from folders_made import job_of, lay, write
from told_of import told_of

from pipeline.new_job import new_job

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip


@pytest.mark.parametrize("apart", [False, True])
def test_times_of_a_12_hour_clock_with_their_half_apart_are_no_export(apart: bool, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    moments = job.rows["time"].astype("datetime64[us]").tolist()
    halves = [f"{at:%p}" for at in moments]
    if apart:
        told = {"day": [f"{at:%Y-%m-%d}" for at in moments], "clock": [f"{at:%I:%M:%S}" for at in moments]}
        heads = _HEADS | {"day": "Date", "clock": "Time (UTC)", "half": "AM/PM"}
    else:
        told = {"clock": [f"{at:%Y-%m-%d %I:%M:%S}" for at in moments]}
        heads = _HEADS | {"clock": "Time (UTC)", "half": "AM/PM"}
    write(tmp_path / "rover.csv", job, heads, told=told | {"half": halves})
    assert '12-hour clock: "AM/PM" has "PM"' in told_of(tmp_path)


def test_a_half_beside_a_24_hour_clock_is_let_be(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    halves = [f"{at:%p}" for at in job.rows["time"].astype("datetime64[us]").tolist()]
    write(tmp_path / "rover.csv", job, _HEADS | {"time": "Time (UTC)", "half": "AM/PM"}, told={"half": halves})
    assert ("rover.csv", "export") in [one[:2] for one in new_job(tmp_path).files]


def _lay_times(folder: Path, times: list[dt.datetime], form: str) -> None:
    """Write the rows of a job at other times, in the order of the rows."""
    job = job_of()
    lay(folder, job)
    many = len(job.rows["name"])
    told = {"time": [f"{at:{form}}" for at in times][:many]}
    write(folder / "rover.csv", job, _HEADS | {"time": "Time (UTC)"}, told=told)


def _every(minutes: float, begin: dt.datetime, many: int = 100) -> list[dt.datetime]:
    return [begin + dt.timedelta(minutes=minutes * row) for row in range(many)]


def _asked(folder: Path) -> list[str]:
    return [one.question.asks for one in new_job(folder).asked if "12-hour" in one.question.asks]


_NINE = dt.datetime(2026, 3, 20, 9, 1)


@pytest.mark.parametrize("form", ["%Y-%m-%d %I:%M:%S", "%d.%m.%Y %I:%M:%S", "%Y-%m-%dT%I:%M:%SZ"])
def test_a_12_hour_clock_that_says_no_half_of_the_day_is_asked_after(form: str, tmp_path: Path) -> None:
    _lay_times(tmp_path, _every(10, _NINE), form)
    (asked,) = _asked(tmp_path)
    assert f"{dt.datetime(2026, 3, 20, 12, 51):{form}}" in asked
    assert f"{dt.datetime(2026, 3, 20, 13, 1):{form}}" in asked
    assert "%I and %p" in asked


@pytest.mark.parametrize(
    "times",
    [
        _every(10, _NINE),
        _every(5, dt.datetime(2026, 3, 20, 4, 0)),
        _every(10, dt.datetime(2026, 3, 20, 8), 12) + _every(10, dt.datetime(2026, 3, 20, 8, 2)),  # two rovers
        [at for pair in zip(_every(10, _NINE, 20), _every(10, _NINE - dt.timedelta(hours=8), 20), strict=True)
         for at in pair] * 3,
    ],
)  # fmt: skip
def test_a_24_hour_clock_is_not_asked_after(times: list[dt.datetime], tmp_path: Path) -> None:
    _lay_times(tmp_path, times, "%Y-%m-%d %H:%M:%S")
    assert _asked(tmp_path) == []
