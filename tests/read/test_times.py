"""Times to UTC. Expectations: the standard library's own reading of each time, and published GPS epochs."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from every import every
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.read.findings import Findings
from pipeline.read.times import clock, gps_to_utc
from pipeline.words import Reason, reason_code


def read(*texts: "str | None", zone: str = "UTC", time_format: "str | None" = None) -> tuple[list, list, list]:
    findings = Findings(len(texts))
    found = clock(zone, time_format).read(pa.array(texts, pa.string()), "time", findings)
    return found.to_pylist(), findings.held.tolist(), findings.detail().to_pylist()


def utc(*fields: int) -> datetime:
    return datetime(*fields, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-02T07:30:00Z",
        "2026-03-02 07:30:00Z",
        "2026-03-02T07:30Z",
        "2026-03-02t07:30:00z",
        "2026-03-02 07:30:00 UTC",
        "2026-03-02T20:30:00+13:00",
        "2026-03-02T20:30:00+1300",
        "2026-03-02T20:30:00.000+13",
        "2026-03-02 20:30:00 +13:00",
        "2026-03-02T02:00:00-05:30",
        "2026-03-02T07:30:00,000Z",
        "20260302T073000Z",
        "2026-03-02T07:30:00.0004999Z",
        "2026-03-02T07:29:59.9995Z",
    ],
)
def test_spellings_of_one_moment(text):
    """Whether alone in its column or beside others, naive ones among them."""
    assert read(text) == ([utc(2026, 3, 2, 7, 30)], [0], [None])
    assert read(text, "2026-03-02 07:30:00", "2026-03-02T07:30:00Z")[0] == [utc(2026, 3, 2, 7, 30)] * 3


@pytest.mark.parametrize("fraction", ["1234", "1235", "12349999", "123400000", "0005", "9999999999"])
def test_nearest_millisecond(fraction):
    expected = utc(2026, 3, 2) + timedelta(milliseconds=int(float("0." + fraction) * 1000 + 0.5))
    assert read(f"2026-03-02T00:00:00.{fraction}Z")[0] == [expected]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.datetimes(datetime(2000, 1, 1), datetime(2037, 12, 31)), min_size=1, max_size=20),
    st.sampled_from(["Pacific/Auckland", "America/St_Johns", "Australia/Lord_Howe", "Europe/Lisbon", "UTC"]),
)
def test_zones_as_the_standard_library_has_them(moments, zone):
    """A naive time is the one UTC moment that shows as it on that zone's clocks; none or two moments: held back."""
    moments = [moment.replace(microsecond=0) for moment in moments]
    found, held, _ = read(*(moment.isoformat(" ") for moment in moments), zone=zone)
    for moment, value, reason in every(zip(moments, found, held, strict=True)):
        candidates = {
            candidate
            for fold in (0, 1)
            for candidate in [moment.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC)]
            if candidate.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == moment
        }
        if len(candidates) == 1:
            assert (value, reason) == (candidates.pop(), 0)
        else:
            assert (value, reason) == (None, reason_code(Reason.AMBIGUOUS_TIME))


def test_the_hour_that_comes_twice_and_the_one_that_never_comes():
    """New Zealand 2026: clocks go back on 5 April at 03:00 and forward on 27 September at 02:00."""
    texts = ("2026-04-05 02:30:00", "2026-09-27 02:30:00", "2026-09-27 03:00:00", "2026-04-05T02:30:00+13:00")
    found, held, detail = read(*texts, zone="Pacific/Auckland")
    assert found == [None, None, utc(2026, 9, 26, 14), utc(2026, 4, 4, 13, 30)]
    assert held == [4, 4, 0, 0]
    assert detail[0] == 'time: "2026-04-05 02:30:00" comes twice in Pacific/Auckland, where the clocks go back'
    assert detail[1] == 'time: "2026-09-27 02:30:00" does not exist in Pacific/Auckland, where the clocks go forward'


def test_fixed_offsets():
    assert read("2026-03-02T07:30:00", zone="+12:00")[0] == [utc(2026, 3, 1, 19, 30)]
    assert read("2026-03-02T07:30:00", zone="-03:30")[0] == [utc(2026, 3, 2, 11)]


def test_gps_time_published_values():
    """check: week 1811, second 164196.732 is 21:36:20.732 UTC; week 2425, second 302418 is 2026-07-01 12:00 (ERFA).

    1 300 135 051 s after 1980-01-06 on the GPS scale is 2021-03-18 20:37:13 UTC.
    """
    epoch = datetime(1980, 1, 6)
    for seconds, expected in (
        (1811 * 604800 + 164196.732, datetime(2014, 9, 22, 21, 36, 20, 732000)),
        (2425 * 604800 + 302418, datetime(2026, 7, 1, 12)),
        (1300135051, datetime(2021, 3, 18, 20, 37, 13)),
        (1930 * 604800 + 18, datetime(2017, 1, 1)),
        (630720013, datetime(2000, 1, 1)),
    ):
        text = (epoch + timedelta(seconds=seconds)).isoformat(timespec="milliseconds")
        assert read(text, zone="GPS")[0] == [expected.replace(tzinfo=UTC)]


def test_gps_scale_around_a_leap_second():
    """On the GPS scale 2017-01-01 00:00:16 is 23:59:59 UTC, 17 the leap second itself, 18 midnight."""
    base = np.datetime64("2017-01-01T00:00:00", "ms").astype(np.int64)
    gps = base + np.array([16_000, 18_000, 19_000], dtype=np.int64)
    gps.flags.writeable = False
    found, early = gps_to_utc(gps)
    assert (found - base).tolist() == [-1000, 0, 1000]
    assert not early.any()


def test_gps_times_with_z_are_utc_and_before_the_table_unknown():
    found, held, _ = read("2026-03-02T07:30:00Z", "1998-12-31T00:00:00", "2026-03-02T07:30:18", zone="GPS")
    assert (found, held) == ([utc(2026, 3, 2, 7, 30), None, utc(2026, 3, 2, 7, 30)], [0, 4, 0])


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("02/03/2026 07:30:00", Reason.AMBIGUOUS_TIME),
        ("2.3.26 7:30", Reason.AMBIGUOUS_TIME),
        ("2026-3-2 7:30", Reason.AMBIGUOUS_TIME),
        ("2 Mar 2026 07:30", Reason.AMBIGUOUS_TIME),
        ("Mar 2, 2026 07:30", Reason.AMBIGUOUS_TIME),
        ("2026-02-30T07:30:00Z", Reason.UNREADABLE),
        ("2026-13-01T07:30:00Z", Reason.UNREADABLE),
        ("2026-03-02T24:30:00", Reason.UNREADABLE),
        ("2026-03-02T07:60:00", Reason.UNREADABLE),
        ("2026-03-02T07:30:61", Reason.UNREADABLE),
        ("2026-03-02T07:30:00+25:00", Reason.UNREADABLE),
        ("2026-03-02", Reason.UNREADABLE),
        ("07:30:00", Reason.UNREADABLE),
        ("soon", Reason.UNREADABLE),
        ("46083.3125", Reason.UNREADABLE),
    ],
)
def test_what_is_no_time(text, reason):
    found, held, detail = read("2026-03-02T07:30:00Z", text, None)
    assert found == [utc(2026, 3, 2, 7, 30), None, None]
    assert held == [0, reason_code(reason), 0]
    assert f'time: "{text}"' in detail[1]


@pytest.mark.parametrize(
    "time_format",
    [
        "%d/%m/%Y %H:%M:%S",
        "%m/%d/%y %I:%M:%S %p",
        "%d-%b-%Y %H:%M:%S.%f",
        "%A %d %B %Y, %H h %M min %S",
        "%Y%m%d%H%M%S",
        "%d.%m.%Y %H:%M:%S %z",
        "%T on %F",
        "%%%Y/%m/%d (%H:%M:%S)",
    ],
)
@settings(max_examples=25, deadline=None)
@given(st.lists(st.datetimes(datetime(1970, 1, 1), datetime(2068, 12, 31)), min_size=1, max_size=5))
def test_formats_as_the_standard_library_writes_them(time_format, moments):
    moments = [moment.replace(microsecond=0, tzinfo=UTC) for moment in moments]
    assert read(*(moment.strftime(time_format) for moment in moments), time_format=time_format)[0] == moments


def test_a_stated_format_is_the_only_one():
    """Nothing is guessed beside it: 13 is no month, and ISO is another format."""
    _, held, detail = read("02/13/2026 07:30:00", "2026-03-02T07:30:00", time_format="%d/%m/%Y %H:%M:%S")
    assert held == [1, 1]
    assert detail[1] == 'time: "2026-03-02T07:30:00" does not match time_format "%d/%m/%Y %H:%M:%S"'


@pytest.mark.parametrize(
    ("time_format", "says"),
    [
        ("%d/%m/%Y", "no hour"),
        ("%H:%M:%S", "no year"),
        ("%d/%m/%Y %I:%M", "%p"),
        ("%Y-%j", "no hour"),
        ("%Y-%m-%j %H:%M", "says the day twice"),
        ("%Y-W%V-%u %H:%M", "no year of weeks"),
        ("%G-W%V %H:%M", "no day of the week"),
        ("%G-W%V-%u %d %H:%M", "says the day twice"),
        ("%d/%m/%Y %H:%M %M", "%M more than once"),
        ("%d/%m/%Y %m %H", "more than one month"),
        ("%d/%m/%Y %H:%", "not understood"),
        ("%Y-%m-%d %H:%M:%S %Z", "state time_zone"),
        ("%c", "differs by language"),
        ("%x %X", "differs by language"),
        ("%Y-W%U-%w %H:%M", "only weeks of ISO 8601"),
        ("%s", "seconds since 1970"),
        ("%m/%Y %H:%M", "no day"),
        ("yyyy-mm-dd", "no % in it"),
    ],
)
def test_formats_that_do_not_make_a_time(time_format, says):
    with pytest.raises(ValueError, match=r"time_format") as caught:
        clock("UTC", time_format)
    assert says in str(caught.value)


@pytest.mark.parametrize("zone", ["Pacific/Aukland", "NZDT+", "+12:75", "../etc", "Pacific", "+25:00"])
def test_zones_that_are_none(zone):
    with pytest.raises(ValueError, match="time_zone"):
        clock(zone, None)


def test_native_timestamps_are_utc_whatever_the_zone():
    cells = pa.array([1772436600123456, None], pa.timestamp("us"))
    found = clock("Pacific/Auckland", None).read(cells, "time", Findings(2))
    assert found.to_pylist() == [utc(2026, 3, 2, 7, 30, 0, 123000), None]


def test_times_that_do_not_exist_are_counted_with_the_offset_before_the_change() -> None:
    """New Zealand's clocks went from 02:00 (+12:00) to 03:00 on 27 September 2026; midnight alone says no time."""
    how, texts = clock("Pacific/Auckland", None), ["2026-09-27T01:55:00", "2026-09-27T02:05:00", "2026-09-27T02:35:00"]
    how.read(pa.array(texts), "time", Findings(3))
    changes = how.claims.changes
    assert (changes.never, changes.first) == (2, "2026-09-27T02:05:00")
    assert changes.skipped is not None
    assert (changes.skipped.before, changes.skipped.by) == (12 * 3_600_000, 3_600_000)
    dates = clock("Africa/Cairo", None)  # where summer time began at midnight, 24 April 2026
    dates.read(pa.array(["2026-04-24T00:00:00"]), "time", Findings(1))
    assert dates.claims.changes.never == 0


#: Days about the ends of years, in which the years of weeks are others; 2020 and 2026 have 53 weeks.
DAYS = [date(year, month, day) for year in (2020, 2021, 2024, 2026, 2027)
        for month, day in ((1, 1), (1, 4), (2, 28), (3, 1), (12, 28), (12, 31))]  # fmt: skip


@pytest.mark.parametrize(
    "time_format",
    ["%Y-%jT%H:%M:%S", "%Y%jT%H%M%S", "%Y:%j:%H:%M:%S", "%y%j %H:%M", "%G-W%V-%uT%H:%M:%S", "%GW%V%uT%H%M"],
)
def test_days_of_the_year_and_of_weeks_are_those_of_the_calendar(time_format):
    moments = [datetime(day.year, day.month, day.day, 7, 30, tzinfo=UTC) for day in DAYS]
    times, held, _ = read(*(each.strftime(time_format) for each in moments), time_format=time_format)
    assert (times, set(held)) == (moments, {0})


@pytest.mark.parametrize(
    ("text", "time_format"),
    [
        ("2026-000T07:30", "%Y-%jT%H:%M"), ("2026-366T07:30", "%Y-%jT%H:%M"), ("2025-W53-1T07:30", "%G-W%V-%uT%H:%M"),
        ("2026-W00-1T07:30", "%G-W%V-%uT%H:%M"), ("2026-W11-0T07:30", "%G-W%V-%uT%H:%M"),
        ("2026-W11-8T07:30", "%G-W%V-%uT%H:%M"),
    ],
)  # fmt: skip
def test_days_that_no_year_and_no_week_has_are_none(text, time_format):
    _, held, detail = read(text, time_format=time_format)
    assert held == [1] and "is not an existing date and time" in detail[0]


def test_an_ordinal_date_with_an_offset_is_in_its_zone():
    times, _, _ = read("2026-070T07:42:10Z", "2026-070T08:42:10+01:00", time_format="%Y-%jT%H:%M:%S%z")
    assert times == [datetime(2026, 3, 11, 7, 42, 10, tzinfo=UTC)] * 2
