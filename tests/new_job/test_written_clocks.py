"""Times with their clock behind them: read at the offset that the text states."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, cells, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.run.run_job import run_job

_HEADS = {"name": "Point", "time": "Time", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "code": "Code"}
_HEADS |= {"solution": "Sol"}


def _laid(folder: Path, hours: float, form: str | Callable[[dt.datetime], str]) -> None:
    """Lay a job whose export has its times on a clock so many hours ahead of UTC."""
    job = job_of()
    lay(folder, job)
    said = form if callable(form) else lambda at: at.strftime(form)
    shown = cells(job, "time", lambda at: said(at + dt.timedelta(hours=hours)))
    write(folder / "rover.csv", job, _HEADS, told={"time": shown})


@pytest.mark.parametrize(
    ("hours", "form", "said"),
    [
        (1, "%Y-%m-%d %H:%M:%S UTC+1", 'time_zone = "+01:00"'),
        (1, "%Y-%m-%d %H:%M:%S GMT+01:00", 'time_format = "%Y-%m-%d %H:%M:%S GMT%z"'),
        (1, "%d.%m.%Y %H:%M:%S MEZ", 'time_zone = "+01:00"'),
        (1, "%d.%m.%Y %H:%M:%S Uhr MEZ", 'time_zone = "+01:00"'),
        (-3, "%Y-%m-%dT%H:%M:%S GMT-3", 'time_zone = "-03:00"'),
        (5.5, "%Y-%m-%d %H:%M:%S (UTC+05:30)", 'time_format = "%Y-%m-%d %H:%M:%S (UTC%z)"'),
        (0, "%d.%m.%Y %H:%M:%S GMT", 'time_zone = "UTC"'),
        (1, "%Y%m%dT%H%M%S+0100", "Time"),
        (5.5, "%Y%m%dT%H%M%S+0530", "Time"),
        (-3, "%Y%m%dT%H%M%S-0300", "Time"),
        (-3, "%Y%m%dT%H%M-0300", "Time"),
    ],
)
def test_times_with_their_clock_are_read_by_it(hours: float, form: str, said: str, tmp_path: Path) -> None:
    plain, other = tmp_path / "plain", tmp_path / "other"
    plain.mkdir(), other.mkdir()
    # without seconds both are cut, which moves no reading out of its minute
    _laid(plain, 0, "%Y-%m-%dT%H:%M:%SZ" if "%S" in form else "%Y-%m-%dT%H:%MZ")
    _laid(other, hours, form)
    records = []
    for folder in (plain, other):
        started = new_job(folder)
        assert {one.question.key for one in started.asked} == {"target.height"}
        answer(Path(started.path), HEIGHT)
        records.append(run_job(started.path, dry_run=True).record)
    assert said in Path(started.path).read_text(encoding="utf-8")
    assert records[1]["verdict"] == "proven"
    assert not any("no offset from UTC" in str(each) for each in records[1]["notes"])
    assert records[0]["sessions"][0]["start"] == records[1]["sessions"][0]["start"]
    assert records[0]["sessions"][0]["end"] == records[1]["sessions"][0]["end"]


def test_a_name_of_several_clocks_is_asked_for(tmp_path: Path) -> None:
    _laid(tmp_path, -5, "%Y-%m-%d %H:%M:%S EST")
    asked = {one.question.key: one.question for one in new_job(tmp_path).asked}
    assert [each.value for each in asked["time_zone"].candidates] == ['"-05:00"', '"+10:00"']
