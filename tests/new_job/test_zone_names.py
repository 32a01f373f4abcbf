"""What headings say of clocks: a zone's name is one offset, a name of several or an offset unsaid is asked after.

Offsets are those of the zones' laws: CET and MEZ are UTC+1, CEST and MESZ UTC+2, EST is UTC-5 in America and UTC+10 in
Australia.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import CLEAR, job_of, lay, write
from issued import current_issue

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.start import Started
from pipeline.read.clock_headings import is_offset, zone_in_heading


@pytest.mark.parametrize(
    ("heading", "zone"),
    [
        ("Time (CET)", "+01:00"), ("Zeit (MEZ)", "+01:00"), ("Zeit (MESZ)", "+02:00"), ("Ora (CEST)", "+02:00"),
        ("time_cet", "+01:00"), ("Time (UTC+1)", "+01:00"), ("Zeit MEZ (UTC+1)", "+01:00"),
        ("Local time CET", "+01:00"),
        ("Time NZDT", "+13:00"), ("Time (ACST)", "+09:30"), ("UTC offset +01:00", "+01:00"),
        ("Time UTC", "UTC"), ("UTC Time", "UTC"), ("Time (GPS)", "GPS"), ("Time zone UTC", "UTC"),
        ("Heure TU", "UTC"), ("Temps universel", "UTC"), ("Hora UT", "UTC"), ("Heure (TUC)", "UTC"),
        ("Tu", None), ("ora tu", None),
        ("UTC時間", "UTC"), ("時間(CET)", "+01:00"), ("Temps (heure locale)", ""), ("Time (local, UTC offset)", ""),
        # several clocks by that name, or two that are not one
        ("Time (EST)", None), ("Time CST", None), ("Time (IST)", None), ("Time (BST)", None),
        ("Time (CET/CEST)", None), ("Time UTC/CET", None), ("Zeit MESZ (UTC+1)", None),
        # how far a clock is from UTC, and not which it is
        ("UTC offset", None), ("Time (UTC offset)", None), ("UTCOffset", None), ("UTC-Abweichung", None),
        ("Décalage UTC", None), ("Time (not UTC)", None),
        # words of languages that are called as zones are
        ("Heure du point est", None), ("Time met", None), ("Time west", None), ("Time", None),
    ],
)  # fmt: skip
def test_a_heading_says_one_clock_or_none(heading: str, zone: str | None) -> None:
    assert zone_in_heading(heading) == zone


@pytest.mark.parametrize(
    ("heading", "offset"),
    [("UTC offset", True), ("UTCOffset", True), ("Time zone", True), ("Time UTC", False), ("Offset", False)],
)
def test_columns_of_offsets_are_told(heading: str, offset: bool) -> None:
    assert is_offset(heading) is offset


def laid(folder: Path, heading: str, hours: float, beside: str = "", start: dt.datetime = CLEAR) -> Started:
    job = job_of(start)
    lay(folder, job)
    heads = {"name": "Point", "time": heading, "latitude": "Lat", "longitude": "Lon", "height": "EllHt",
             "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
    more = {"beside": ["+02:00"] * len(job.rows["height"])} if beside else {}
    heads |= {"beside": beside} if beside else {}

    def clock(moment: dt.datetime) -> str:
        return (moment + dt.timedelta(hours=hours)).strftime("%Y-%m-%d %H:%M:%S.%f")

    write(folder / "rover.csv", job, heads, time=clock, told=more)
    return new_job(folder)


@pytest.mark.parametrize(("heading", "hours"), [("Ora (CEST)", 2.0), ("Zeit (MEZ)", 1.0), ("Time (ACDT)", 10.5)])
def test_times_under_a_zones_name_come_to_the_truth(heading: str, hours: float, tmp_path: Path) -> None:
    started = laid(tmp_path, heading, hours)
    assert "time_zone" not in {one.question.key.split(".")[-1] for one in started.asked}
    answer(Path(started.path), {"height": '"EPSG:5773"'})
    assert run_job(started.path).record["verdict"] == "proven"
    rows = current_issue(tmp_path / "out").points.rows
    (known,) = (moment for name, moment in zip(*(job_of().rows[word] for word in ("name", "time")), strict=True)
                if name == rows[0]["name"])  # fmt: skip
    issued = np.datetime64(rows[0]["observed"].removesuffix("Z"), "ms")
    assert issued == known.astype("datetime64[ms]")


def test_a_name_of_several_zones_is_asked_after_with_each(tmp_path: Path) -> None:
    (asked,) = (one.question for one in laid(tmp_path, "Time (EST)", -5.0).asked if "time_zone" in one.question.key)
    assert [each.value for each in asked.candidates[:2]] == ['"-05:00"', '"+10:00"']
    assert "used for several" in asked.asks


@pytest.mark.parametrize("heading", ["Time NZST", "time_nzst", "Time (nzst)"])
def test_winters_name_in_summer_is_asked_after(heading: str, tmp_path: Path) -> None:
    """New Zealand's summer time is until 5 April 2026 (Time Order 2007): the wall's clock is an hour ahead of NZST."""
    (asked,) = (one.question for one in laid(tmp_path, heading, 13.0).asked if "time_zone" in one.question.key)
    assert [each.value for each in asked.candidates] == ['"Pacific/Auckland"', '"+12:00"']
    assert "names the time of winter, UTC+12:00" in asked.asks


@pytest.mark.parametrize(
    ("heading", "hours", "start"),
    [
        ("Time NZST", 12.0, dt.datetime(2026, 6, 18, 19, 30, tzinfo=dt.UTC)),
        ("Time NZDT", 13.0, CLEAR),
        ("Time (UTC+12)", 12.0, CLEAR),
        ("Time CET", 1.0, CLEAR),
    ],
)
def test_a_name_that_leaves_no_doubt_is_not_asked_after(
    heading: str, hours: float, start: dt.datetime, tmp_path: Path
) -> None:
    asked = laid(tmp_path, heading, hours, start=start).asked
    assert "time_zone" not in {one.question.key.split(".")[-1] for one in asked}


def test_a_column_of_offsets_is_named_where_the_clock_is_asked_after(tmp_path: Path) -> None:
    started = laid(tmp_path, "Time", 2.0, beside="UTC offset")
    (asked,) = (one.question for one in started.asked if "time_zone" in one.question.key)
    assert 'the column "UTC offset" beside it, which is not read, has "+02:00"' in asked.asks


def test_times_under_an_offset_from_utc_are_not_taken_as_utc(tmp_path: Path) -> None:
    started = laid(tmp_path, "Time (UTC offset)", 2.0)
    (asked,) = (one.question for one in started.asked if "time_zone" in one.question.key)
    assert "does not state it" in asked.asks and "beside it" not in asked.asks
