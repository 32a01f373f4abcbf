"""Time zones that people write, each with what to write instead; offsets by the zones' own definitions."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from pipeline.job.clock_names import CLOCK_NAMES
from pipeline.job.time_zones import localised, reversed_sign, zone_problem


@pytest.mark.parametrize(
    ("zone", "pieces", "never"),
    [
        ("CEST", ['"Europe/Vienna"', '"+02:00"'], "EST'"),
        ("MESZ", ['"Europe/Vienna"'], "EST'"),
        ("EST", ["-05:00 all year", '"America/New_York"'], "EDT"),
        ("MST", ["-07:00 all year", '"America/Denver"'], "EST"),
        ("HST", ["-10:00 all year", '"Pacific/Honolulu"'], "EST"),
        ("IST", ["more than one meaning", "Asia/Kolkata", "Asia/Jerusalem"], "EST"),
        ("UTC+2", ['"+02:00"', "ahead of UTC", '"Etc/GMT+2" would mean the other sign'], "did you mean"),
        ("GMT+2", ['"+02:00"', '"Etc/GMT+2" would mean the other sign'], "did you mean"),
        ("UTC +02:00", ['"+02:00"'], "did you mean"),
        ("+2", ['"+02:00"'], "did you mean"),
        ("+0200", ['"+02:00"'], "did you mean"),
        ("-3", ['"-03:00"', "behind UTC"], "did you mean"),
        ("\u22123:30", ['"-03:30"'], "did you mean"),
        ("UTC+5:45", ['"+05:45"', "5 h 45 min"], "Etc"),
        ("utc", ['write "UTC"'], "did you mean"),
        ("GPST", ['"GPS"'], "did you mean"),
        ("Vienna", ["'Europe/Vienna'"], "GMT"),
        ("europe/vienna", ["'Europe/Vienna'"], "GMT"),
        ("New York", ["'America/New_York'"], "GMT"),
        ("Europe/Viena", ["'Europe/Vienna'"], "GMT"),
        ("Europe", ["IANA name"], "did you mean"),
        ("Moon", ["IANA name"], "did you mean"),
        ("", ["IANA name"], "did you mean"),
        ("+15", ["IANA name"], "did you mean"),
    ],
)
def test_what_to_write(zone: str, pieces: list[str], never: str) -> None:
    found = zone_problem(zone)
    assert found is not None
    for piece in pieces:
        assert piece in " ".join(found)
    assert never not in found[1]


@pytest.mark.parametrize("zone", ["UTC", "GPS", "Pacific/Auckland", "CET", "+12:00", "-03:30", "Etc/GMT+3"])
def test_zones_that_are_read(zone: str) -> None:
    assert zone_problem(zone) is None


def test_every_abbreviation_is_an_offset_of_its_place() -> None:
    """By the time zone database: the place's clock shows the offset at some time of the year 2026."""
    for short, name in CLOCK_NAMES.items():
        for offset, place in name.places:
            shown = {datetime(2026, month, 15, tzinfo=ZoneInfo(place)).utcoffset() for month in range(1, 13)}
            sign, hours, minutes = -1 if offset[0] == "-" else 1, int(offset[1:3]), int(offset[4:])
            assert sign * timedelta(hours=hours, minutes=minutes) in shown, (short, place)


@pytest.mark.parametrize("hours", range(1, 13))
def test_the_sign_of_etc_names(hours: int) -> None:
    """By the time zone database itself."""
    for sign in "+-":
        zone = f"Etc/GMT{sign}{hours}"
        stands_for = datetime(2026, 1, 1, tzinfo=ZoneInfo(zone)).strftime("%z")
        assert reversed_sign(zone) == f"{stands_for[:3]}:{stands_for[3:]}"
    assert reversed_sign("Etc/GMT+0") is reversed_sign("Europe/Vienna") is None


@pytest.mark.parametrize(
    ("text", "zone", "utc"),
    [
        ("2026-03-02T08:30:00", "Pacific/Auckland", "2026-03-01T19:30:00"),
        ("2026-07-02T08:30:00", "Pacific/Auckland", "2026-07-01T20:30:00"),
        ("2026-03-02T08:30:00", "-03:30", "2026-03-02T12:00:00"),
        ("2026-03-02T08:30:00", "UTC", "2026-03-02T08:30:00"),
        ("2026-03-02T08:30:18", "GPS", "2026-03-02T08:30:00"),
        ("2016-12-31T23:59:59", "GPS", "2016-12-31T23:59:42"),
        ("2017-01-01T00:00:18", "GPS", "2017-01-01T00:00:00"),
    ],
)
def test_times_on_the_clock_of_a_zone(text: str, zone: str, utc: str) -> None:
    """Offsets by the zones' own definitions; GPS - UTC is 17 s to the end of 2016 and 18 s after it (Bulletin C 52)."""
    found = localised(datetime.fromisoformat(text), zone)
    assert found == datetime.fromisoformat(utc).replace(tzinfo=UTC)
    assert found.utcoffset() is not None


def test_times_of_the_hours_in_which_clocks_are_changed() -> None:
    """New Zealand 2026: back on 5 April at 03:00 and forward on 27 September at 02:00."""
    with pytest.raises(
        ValueError, match=r"comes twice .* write 2026-04-05T02:30:00\+13:00 or 2026-04-05T02:30:00\+12:00"
    ):
        localised(datetime(2026, 4, 5, 2, 30), "Pacific/Auckland")
    with pytest.raises(ValueError, match="does not exist in Pacific/Auckland"):
        localised(datetime(2026, 9, 27, 2, 30), "Pacific/Auckland")
    before, after = (localised(datetime(2026, 4, 5, hour), "Pacific/Auckland") for hour in (1, 4))
    assert after - before == timedelta(hours=4)
