"""Times in notations of many programs: read where a job file can say how, else told with the column at fault."""

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from answered import answer
from folders_made import HEIGHT, cells, job_of, lay, write
from told_of import told_of

from pipeline.new_job import new_job
from pipeline.new_job.clock_formats import order_of
from pipeline.new_job.time_notation import is_day, is_time_of_day
from pipeline.new_job.written_times import forms_of
from pipeline.run.run_job import run_job

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "solution": "Sol", "code": "Code"}


_RUSSIAN = ("Пн", "Вт", "Ср", "Чт", "Пт", "Сб", "Вс")


def _made(
    folder: Path,
    time: tuple[str, str | Callable[[dt.datetime], str]],
    date: tuple[str, str] | None = None,
    **more: dt.datetime,
) -> None:
    job = job_of(**more)
    lay(folder, job)
    heads = dict(_HEADS)
    told = {}
    for word, (heading, form) in {"time": time, **({"date": date} if date is not None else {})}.items():
        heads[word] = heading
        said = form if callable(form) else lambda at, form=form: at.strftime(form)
        told[word] = cells(job, "time", said)
    write(folder / "rover.csv", job, heads, told=told)


def _refused(folder: Path) -> str:
    return told_of(folder)


@pytest.mark.parametrize(
    ("time", "date"),
    [
        (("Time UTC", "%d.%m.%Y %H.%M.%S"), None),
        (("Time UTC", "%Y-%m-%d %H.%M"), None),
        (("Time UTC", "%d.%m.%Y klo %H.%M.%S"), None),
        (("Time UTC", "%d.%m.%Y um %H:%M:%S Uhr"), None),
        (("Time UTC", "%d/%m/%Y à %H:%M:%S"), None),
        (("Time UTC", "%Y-%m-%d kl. %H:%M:%S"), None),
        (("Time UTC", "%d/%m/%Y %H:%M:%S,5"), None),
        (("Time UTC", "%d.%m.%Y %Hh%M"), None),
        (("UTC time", "%Hh%Mm%S"), ("UTC date", "%Y-%m-%d")),
        (("Time", "%d.%m.%Y, %H:%M:%S UTC"), None),
        (("Time UTC", "%m/%d/%Y, %I:%M:%S %p"), None),
        (("Time", "%m/%d/%Y, %I:%M:%S %p UTC"), None),
        (("Time UTC", "%d.%m.%Y, %H:%M:%S Uhr"), None),
        (("Time UTC", "%d/%m/%Y, %H:%M h"), None),
        (("Time UTC", "%Y.%m.%d. %H:%M:%S"), None),
        (("Time UTC", "%d.%m.%Y. %H:%M:%S"), None),
        (("Time UTC", "%d/%m/%Y-%H:%M:%S"), None),
        (("Time UTC", "%d.%m.%Y - %H:%M:%S"), None),
        (("Time UTC", "%H:%M:%S %d.%m.%Y"), None),
        (("Time UTC", "%Y-%m-%d_%H-%M-%S"), None),
        (("Time UTC", "%Y-%m-%d\u202f%H:%M:%S"), None),
        (("Time", "%a %b %d %H:%M:%S UTC %Y"), None),
        (("Time", "%d/%b/%Y:%H:%M:%S +0000"), None),
        (("Time UTC", "%Y:%m:%d %H:%M:%S"), None),
        (("Time UTC", "%d.%m.%Y г., %H:%M:%S"), None),
        (("Time UTC", "%H giờ %M phút, ngày %d/%m/%Y"), None),
        (("Time UTC", lambda at: f"{_RUSSIAN[at.weekday()]}, {at:%d.%m.%Y %H:%M:%S}"), None),
        (("Time UTC", lambda at: f"{at:%Y年%m月%d日}({'月火水木金土日'[at.weekday()]}) {at:%H時%M分%S秒}"), None),
        (("UTC Time", "%H:%M:%S"), ("UTC Date", "%Y.%m.%d.")),
        (("UTC Time", "%H:%M:%S"), ("UTC Date", "%d.%m.%Y.")),
        (("UTC Time", "%H.%M.%S"), ("UTC Date", "%d %b %Y")),
        (("UTC Time", "%H-%M-%S"), ("UTC Date", "%d.%m.%Y")),
        (("UTC Time", "%I:%M:%S %p"), ("UTC Date", "%Y%m%d")),
        (("UTC Time", "%H.%M.%S"), ("UTC Date", "%Y-%m-%d")),
        (("UTC", "%H%M%S"), ("UTC Date", "%Y%m%d")),
        (("UTC Time", lambda at: f"{at:%I:%M:%S} {'a. m.' if at.hour < 12 else 'p. m.'}"), ("UTC Date", "%d/%m/%Y")),
    ],
)  # fmt: skip
def test_notations_that_a_job_file_can_say_are_read(
    time: tuple[str, str | Callable[[dt.datetime], str]], date: tuple[str, str] | None, tmp_path: Path
) -> None:
    _made(tmp_path, time, date)
    started = new_job(tmp_path)
    assert {one.question.key for one in started.asked} == {"target.height"}
    answer(Path(started.path), HEIGHT)
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and record["sessions"][0]["start"].startswith("2026-03-19")


@pytest.mark.parametrize(
    ("time", "date", "column", "why"),
    [
        (("Horodatage UTC", "%d mars %Y %H:%M:%S"), None, "Horodatage UTC", "a month in a language other than"),
        (("Time UTC", '="%H:%M:%S"'), ("Date", "%Y-%m-%d"), "Time UTC", "a spreadsheet's formula"),
        (("Hora", lambda at: str(int(f"{at:1%M%S}"))), ("Fecha", "%d/%m/%Y"), "Hora", "their leading zeros"),
        (("Seconds of day UTC", lambda at: str(3600 + 60 * at.minute)), ("Date", "%Y-%m-%d"), "Seconds of day UTC",
         "is a number"),
        (("Time UTC", "%d/%m/%Y %I:%M:%S ночи"), None, "Time UTC", "of the day in letters that are not read"),
        (("Time UTC", "%d/%m/%Y %I:%M:%S SA"), None, "Time UTC", "seems to be from a 12-hour clock"),
        (("Time UTC", "%H:%M:%S"), ("Date", "%d mars %Y"), "Time UTC", "a month in a language other than"),
        (("Time UTC", "%H.%M"), ("Date", "%d/%m/%Y"), "Time UTC", "may be hours and minutes, or hours with decimals"),
        (("Time UTC", lambda at: str(at.hour / 24 + at.minute / 1440)), ("Date", "%d/%m/%Y"), "Time UTC",
         "may be a part of a day"),
    ],
)  # fmt: skip
def test_the_column_that_cannot_be_read_is_the_one_that_is_told(
    time: tuple[str, str | Callable[[dt.datetime], str]],
    date: tuple[str, str] | None,
    column: str,
    why: str,
    tmp_path: Path,
) -> None:
    _made(tmp_path, time, date)
    said = _refused(tmp_path)
    assert "times are not recognised" in said and f'"{column}"' in said and why in said
    assert "looks more like a register" not in said
    if date is not None:
        assert f'"{date[0]}" holds dates and "{column}"' in said


def test_an_export_with_dates_alone_is_not_told_of_its_lengths(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    told = {"date": cells(job, "time", lambda at: at.strftime("%Y-%m-%d")), "pole": ["2.00"] * len(job.rows["name"])}
    write(tmp_path / "rover.csv", job, _HEADS | {"date": "Date", "pole": "Rod"}, told=told)
    assert 'times are not recognised: "Date" holds "2026-03-' in _refused(tmp_path)


@pytest.mark.parametrize(
    ("heading", "form", "says"),
    [
        ("Idő", "%H:%M:%S", "a time of day without its date"),
        ("Grumble", "%H:%M:%S", "a time of day without its date"),
        ("Grumble", "%d.%m.%Y", "has no time of day"),
        ("Grumble", lambda at: str(int(at.timestamp())), "looks like seconds since 1970"),
        ("Grumble", lambda at: str(int(at.timestamp() * 1000)), "looks like milliseconds since 1970"),
        ("Grumble", lambda at: str(int(at.timestamp() * 1000) * 1000), "micro- or nanoseconds since 1970"),
        ("Grumble", lambda at: str(int(at.timestamp() * 1000) * 1_000_000), "micro- or nanoseconds since 1970"),
        ("MJD", lambda at: str(at.toordinal() - 678_576), "whole Julian days, or modified ones"),
        ("GPS week", lambda at: str((at.toordinal() - 722_820) // 7), "no column the seconds of the week"),
        ("Grumble", "%d.%m.%Y grumble %H:%M:%S", "not a time"),
    ],
)
def test_what_looks_like_times_is_told_whatever_its_heading(
    heading: str, form: str | Callable[[dt.datetime], str], says: str, tmp_path: Path
) -> None:
    _made(tmp_path, (heading, form))
    refused = _refused(tmp_path)
    assert f'times are not recognised: "{heading}" holds "' in refused and says in refused
    assert "looks more like a register" not in refused


def test_heights_and_numbers_of_points_look_like_no_times(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    numbers = [str(1_000_000_000 + 7 * at) for at in range(len(job.rows["name"]))]
    heads = {name: heading for name, heading in _HEADS.items() if name not in ("name", "code")}
    write(tmp_path / "rover.csv", job, {"name": "Point", **heads, "code": "Remark"}, told={"name": numbers})
    assert "times are not recognised" not in _refused(tmp_path)


def test_counts_of_a_nested_property_are_asked_after_as_flat_ones_are(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    times = cells(job, "time", lambda at: str(int(at.timestamp()) - 315_964_800 + 18))  # GPS seconds
    places = zip(*(cells(job, word, str) for word in ("longitude", "latitude", "height")), strict=True)
    rows = zip(cells(job, "name", str), times, places, strict=True)
    features = [
        {"type": "Feature", "properties": {"id": name, "gnss": {"fixType": "FIX", "utc": int(time)}},
         "geometry": {"type": "Point", "coordinates": [float(one) for one in place]}}
        for name, time, place in rows
    ]  # fmt: skip
    text = json.dumps({"type": "FeatureCollection", "features": features})
    (tmp_path / "rover.geojson").write_text(text, encoding="utf-8")
    asked = {one.question.key: one.question for one in new_job(tmp_path).asked}
    assert [one.value for one in asked["time_format"].candidates] == ['"gps-seconds"', '"unix-seconds"']


@pytest.mark.parametrize(
    ("heading", "form", "zone"),
    [
        ("Time (UTC)", "%Y年%m月%d日 %H时%M分%S秒", '"UTC"'),
        ("观测时间 UTC", "%Y年%m月%d日%H时%M分%S秒", '"UTC"'),
        ("観測日時 UTC", "%Y年%m月%d日 %H時%M分%S秒", '"UTC"'),
        ("시간 (UTC)", "%Y년 %m월 %d일 %H시 %M분 %S초", '"UTC"'),
        ("时间 UTC", "%Y-%m-%d %H时%M分%S秒", '"UTC"'),
        # China has one clock, eight hours ahead of UTC
        ("北京时间", lambda at: (at + dt.timedelta(hours=8)).strftime("%Y年%m月%d日 %H时%M分%S秒"), '"+08:00"'),
    ],
)
def test_hours_and_minutes_in_words_are_read(
    heading: str, form: str | Callable[[dt.datetime], str], zone: str, tmp_path: Path
) -> None:
    _made(tmp_path, (heading, form))
    started = new_job(tmp_path)
    assert {one.question.key for one in started.asked} == {"target.height"}
    assert f"time_zone = {zone}" in Path(started.path).read_text(encoding="utf-8")
    answer(Path(started.path), HEIGHT)
    record = run_job(started.path, dry_run=True).record
    assert record["verdict"] == "proven" and record["sessions"][0]["start"].startswith("2026-03-19")


def _julian(at: dt.datetime) -> float:
    """The Julian day: that of 1970-01-01T00:00 is 2440587.5."""
    return at.replace(tzinfo=dt.UTC).timestamp() / 86_400 + 2_440_587.5


@pytest.mark.parametrize(
    ("heading", "form", "what"),
    [
        ("Julian date", lambda at: f"{_julian(at):.6f}", "Julian days, which are not read"),
        ("Time UTC", lambda at: f"{_julian(at):.6f}", "Julian days, which are not read"),
        ("MJD", lambda at: f"{_julian(at) - 2_400_000.5:.6f}", "modified Julian days, which are not read"),
        ("Zeit (MJD)", lambda at: f"{_julian(at) - 2_400_000.5:.6f}", "modified Julian days, which are not read"),
        ("Time", lambda at: f"{_julian(at) - 2_400_000.5:.6f}", "modified Julian days, which are not read"),
    ],
)
def test_julian_days_are_told_by_their_column(
    heading: str, form: Callable[[dt.datetime], str], what: str, tmp_path: Path
) -> None:
    _made(tmp_path, (heading, form))
    said = _refused(tmp_path)
    assert f'times are not recognised: "{heading}" holds "' in said and what in said
    assert "serial" not in said and "looks more like a register" not in said


@pytest.mark.parametrize(
    ("time", "date"),
    [
        (("Time UTC", "%d.%m.%Y. %H:%M:%S"), None),
        (("Time UTC", "%d/%m/%Y, %H:%M:%S Uhr"), None),
        (("Time UTC", "%H:%M:%S %d/%m/%Y"), None),
        (("Time UTC", "%H:%M:%S"), ("Date", "%d.%m.%Y.")),
    ],
)
def test_the_order_of_day_and_month_is_asked_in_every_notation(
    time: tuple[str, str], date: tuple[str, str] | None, tmp_path: Path
) -> None:
    _made(tmp_path, time, date, start=dt.datetime(2026, 3, 7, 19, 30, tzinfo=dt.UTC))
    asked = {one.question.key: one.question for one in new_job(tmp_path).asked}
    form = f"{date[1]} {time[1]}" if date is not None else time[1]
    other = form.replace("%d", "%x").replace("%m", "%d").replace("%x", "%m")
    assert {one.value for one in asked["time_format"].candidates} == {f'"{form}"', f'"{other}"'}


def test_times_that_the_proposed_format_does_not_read_are_told_beside_it(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    told = cells(job, "time", lambda at: at.strftime("%d.%m.%Y, %H:%M:%S Uhr"))
    told[5] = told[5].replace(" Uhr", "")
    write(tmp_path / "rover.csv", job, _HEADS | {"time": "Time UTC"}, told={"time": told})
    written = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    assert 'time_format = "%d.%m.%Y, %H:%M:%S Uhr"' in written
    assert f'times is not, and is not read so, as "{told[5]}"' in written.replace("\n#  ", " ")


def test_parts_of_dates_in_columns_of_their_own_can_be_put_together_as_told(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    parts = {"Year": "%Y", "Month": "%-m", "Day": "%-d", "Hour": "%-H", "Minute": "%-M", "Second": "%-S.00"}
    told = {name: cells(job, "time", lambda at, form=form: at.strftime(form)) for name, form in parts.items()}
    write(tmp_path / "rover.csv", job, _HEADS | {name: name for name in parts}, told=told)
    said = _refused(tmp_path)
    first = "{Year}-{Month}-{Day} {Hour}:{Minute}:{Second}"
    rows = [dict(zip(told, row, strict=True)) for row in zip(*told.values(), strict=True)]
    assert f'one called "Time", whose first cell is then "{first.format(**rows[0])}"' in said
    write(tmp_path / "rover.csv", job, _HEADS | {"time": "Time"}, told={"time": [first.format(**row) for row in rows]})
    started = new_job(tmp_path)
    assert {one.question.key for one in started.asked} == {"time_zone", "target.height"}
    answer(Path(started.path), {"time_zone": '"UTC"', **HEIGHT})
    assert run_job(started.path, dry_run=True).record["verdict"] == "proven"


def test_names_and_numbers_are_no_dates_and_no_times_of_day() -> None:
    names = ["KP 10-11-12", "P-14.03.2026", "12.5", "48.197753031", "20260314", "A 12_30_45", "7-8-9a", "1.10"]
    assert not any(is_day([name]) or is_time_of_day([name]) for name in names)
    assert is_day(["Sat 14.03.26"]) and is_day(["Сб 14.03.2026"]) and is_day(["2026.03.14."])
    assert is_time_of_day(["08:00:00 Uhr"]) and is_time_of_day(["08h00"])


@pytest.mark.parametrize("era", ["R8.3.14 09:00:00", "R 8.3.14 09:00", "R08/03/14 09:00", "令和8年3月14日 09:00"])
def test_years_of_an_era_are_no_years_of_ours(era: str) -> None:
    """The eighth year of Reiwa is 2026 (Japan's calendar; from memory); read as figures alone it would be 2008."""
    assert forms_of(era) == []


def test_a_weekday_before_a_date_hides_no_order_of_its_numbers() -> None:
    forms = forms_of("Sat 14/03/26 10:40")
    assert [order_of(form) for form in forms] == ["the day first", "the month first", "the year first"]
