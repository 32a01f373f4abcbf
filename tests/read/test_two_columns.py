"""Times in two columns and times that are counted. Sources: the standard library, and published GPS times."""

from datetime import UTC, datetime, timedelta

import pytest
from exports_made import COLUMNS, GOOD, HEADER, block, find, text_table

from pipeline.words import Reason, reason_code

TIME = "2026-03-02T07:30:00Z"
APART = COLUMNS | {"date": "Observed", "time": "Clock"}


def table_of(folder, date, clock, **keys):
    return text_table(folder, f"{HEADER},Clock\n{GOOD.replace(TIME, date)},{clock}\n", APART, **keys)


@pytest.mark.parametrize(
    ("date", "clock", "keys"),
    [
        ("2026-03-02", "07:30:00", {}),
        ("20260302", "073000", {}),
        ("2026-03-02T00:00:00Z", "07:30:00.000", {}),
        ("2026-03-02 00:00:00", "1899-12-30T07:30:00", {}),
        ("2026-03-02", "20:30:00+13:00", {}),
        ("02.03.2026", "7:30", {"time_format": "%d.%m.%Y %H:%M"}),
        ("3/2/2026 12:00:00 AM", "7:30:00 AM", {"time_format": "%m/%d/%Y %I:%M:%S %p"}),
        ("3/2/2026 0:00", "12/30/1899 7:30:00 AM", {"time_format": "%m/%d/%Y %I:%M:%S %p"}),
        ("46083", "0.3125", {"time_format": "serial-days"}),
    ],
)
def test_dates_and_times_in_their_own_columns(tmp_path, date, clock, keys):
    table = table_of(tmp_path, date, clock, **keys)
    assert table["time"].to_pylist() == [datetime(2026, 3, 2, 7, 30, tzinfo=UTC)]
    assert table["Observed"].to_pylist() == [date]  # carried along as it was


def test_a_date_or_a_time_that_is_missing(tmp_path):
    rows = [GOOD, GOOD.replace(TIME, "2026-03-02") + ",07:30:00", GOOD.replace(TIME, "2026-03-02") + ","]
    rows[0] = GOOD.replace(TIME, "") + ",07:30:00"
    table = text_table(tmp_path, "\n".join([f"{HEADER},Clock", *rows]), APART)
    no_time = reason_code(Reason.NO_TIME)
    assert table["held"].to_pylist() == [no_time, 0, no_time]


def test_a_time_that_has_its_date_already(tmp_path):
    (tmp_path / "a.csv").write_text(f"{HEADER},Clock\n{GOOD.replace(TIME, '2026-03-02')},{TIME}\n")
    (problem,) = find(tmp_path, block("a.csv", APART))[1]
    assert problem.startswith("a.csv:2: date and time together are") and "omit date" in problem


def test_a_header_that_comes_again_among_the_rows(tmp_path):
    row = GOOD.replace(TIME, "2026-03-02") + ",07:30:00"
    table = text_table(tmp_path, f"{HEADER},Clock\n{row}\n{HEADER},Clock\n", APART)
    assert "the column names are repeated here" in table["detail"][1].as_py()


@pytest.mark.parametrize(
    ("start", "end", "minutes"), [("07:30:00", "07:35:00", 5), ("23:58:00", "00:03:00", 5), ("07:30:00", "07:30:00", 0)]
)
def test_ends_without_a_date_are_of_the_same_night(tmp_path, start, end, minutes):
    row = GOOD.replace(TIME, "2026-03-02")
    text = f"{HEADER},Clock,End\n{row},{start},{end}\n{row},{start},2026-03-03T00:30:00\n{row},{start},\n"
    table = text_table(tmp_path, text, APART | {"time_end": "End"})
    begins, ends = table["time"].to_pylist(), table["time_end"].to_pylist()
    assert ends == [begins[0] + timedelta(minutes=minutes), datetime(2026, 3, 3, 0, 30, tzinfo=UTC), None]


@pytest.mark.parametrize(
    ("week", "seconds", "expected"),
    [
        ("1811", "164196.732", datetime(2014, 9, 22, 21, 36, 20, 732000, tzinfo=UTC)),
        ("2425", "302418", datetime(2026, 7, 1, 12, tzinfo=UTC)),
        ("2425.0", "302418,0", datetime(2026, 7, 1, 12, tzinfo=UTC)),
        ("1930", "18", datetime(2017, 1, 1, tzinfo=UTC)),
        ("2425", "604800", None),
        ("2425", "-1", None),
        ("377", "302418", None),  # 2425 less two times 1024: weeks that began anew are not guessed
        ("", "302418", None),
    ],
)
def test_gps_weeks_and_seconds(tmp_path, week, seconds, expected):
    """Published: see tests/read/test_times.py. They are of the GPS time scale whatever time_zone is stated."""
    columns = {ours: name for ours, name in COLUMNS.items() if ours != "time"}
    columns |= {"gps_week": "Week", "gps_seconds": "TOW"}
    row = GOOD.replace(f"{TIME},", "").replace(",", ";")
    text = f"{HEADER.replace('Observed,', '')},Week,TOW\n".replace(",", ";")
    text += f"{row};{week};{seconds}\n{row};1930;18\n"
    table = text_table(tmp_path, text, columns, time_zone="Pacific/Auckland", decimal=".")
    assert table["time"].to_pylist()[0] == expected
    assert (table["held"].to_pylist()[0] == 0) == (expected is not None)


@pytest.mark.parametrize(
    ("change", "keys", "says"),
    [
        ({"gps_week": "Lat"}, {}, "more than one time (gps_week, time)"),
        ({"gps_week": "Lat", "time": None}, {}, "gps_week but not gps_seconds"),
        ({"date": "Lat", "time": None}, {}, "date but no time"),
        ({"date": "Lat"}, {"time_format": "unix-seconds"}, 'times of "unix-seconds" already have their date'),
        ({"drms": "Lat"}, {}, "more than one horizontal precision"),
    ],
)
def test_mappings_that_contradict_one_another(tmp_path, change, keys, says):
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{GOOD}\n")
    columns = {word: name for word, name in (COLUMNS | change).items() if name}
    (problem,) = find(tmp_path, block("a.csv", columns, **keys))[1]
    assert problem.startswith("job.toml:100: ") and says in problem


@pytest.mark.parametrize(
    ("text", "time_format", "likely"),
    [
        ("1772436600", None, "unix-seconds"),
        ("1772436600123", "unix-seconds", "unix-milliseconds"),
        ("46083.3125", None, "serial-days"),
        ("2408 113400.0", None, "gps-week-seconds"),
        ("3/2/2026 7:30:00\u202fPM", None, "%d/%m/%Y %I:%M:%S %p"),
    ],
)
def test_counted_times_that_nobody_stated(tmp_path, text, time_format, likely):
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{GOOD.replace(TIME, text)}\n", encoding="utf-8")
    (problem,) = find(tmp_path, block("a.csv", time_format=time_format))[1]
    assert "state time_format" in problem and f'"{likely}"' in problem


def test_serial_days_without_a_time_of_day(tmp_path):
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{GOOD.replace(TIME, '46083')}\n{GOOD.replace(TIME, '46083.0')}\n")
    (problem,) = find(tmp_path, block("a.csv", time_format="serial-days"))[1]
    assert problem.startswith('a.csv:2: the time "46083" is a day without a time') and "as date" in problem
    (tmp_path / "a.csv").write_text(f"{HEADER}\n{GOOD.replace(TIME, '46083')}\n{GOOD.replace(TIME, '46083.25')}\n")
    assert find(tmp_path, block("a.csv", time_format="serial-days"))[1] == []


@pytest.mark.parametrize("noon", ["PM", "pm", "p.m.", "p.\u00a0m.", "\u202fPM", "下午", "오후", "午後"])
def test_the_second_half_of_a_day(tmp_path, noon):
    text = f"{HEADER}\n{GOOD.replace(TIME, f'2026-03-02 7:30:00 {noon}')}\n"
    table = text_table(tmp_path, text, time_format="%Y-%m-%d %I:%M:%S %p")
    assert table["time"].to_pylist() == [datetime(2026, 3, 2, 19, 30, tzinfo=UTC)]
