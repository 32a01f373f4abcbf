"""What cells look like that cannot be read: ways of exports and spreadsheets (common practice, no source)."""

import pytest

from pipeline.files.odd_text import looks_like_data, why_no_degrees, why_no_dms, why_no_number, why_no_time


@pytest.mark.parametrize(
    ("text", "piece"),
    [
        ("1 507 336.178", "between thousands"), ("1,507,336.178", "between thousands"),
        ("1.507.336,178", "between thousands"), ("1\u202f507\u202f336.2", "between thousands"),
        ("1\u00a0507\u00a0336", "between thousands"), ("1'507'336.178", "between thousands"),
        ("12,5", 'decimal = ","'), ("1,507", "for thousands or decimals"), ("12.3 m", "a unit"), ("40.4ft", "a unit"),
        ("32 512345.67", "zone number"), ("33U 512345.67", "zone number"), ("#N/A", "spreadsheet"),
        ("#####", "spreadsheet"), ("NULL", "no value: export"), ("-", "no value: export"),
        ("inf", "is endless"), ("-Inf", "is endless"), ("?", "what is not known"), ("x", "what is not known"),
        ("1e999", "too large"), ("'12.5", "apostrophe"),
        ("<0.01", "sign before"), ("１４．３２", "figures other than 0 to 9"), ("١٤", "figures other than 0 to 9"),
    ],
)  # fmt: skip
def test_numbers(text: str, piece: str) -> None:
    assert why_no_number(text).startswith("is not a number: it ")
    assert piece in why_no_number(text)


@pytest.mark.parametrize(
    ("text", "piece"),
    [
        ("47°30'12.5\"", 'angles = "dms"'), ("47 30 12.5", 'angles = "dms"'), ("-43:42:00", 'angles = "dms"'),
        ("47d30m12s", 'angles = "dms"'), ("47-30-12", 'angles = "dms"'), ("N 47° 30' 12\"", 'angles = "dms"'),
        ("47°30.208'", 'angles = "dms"'), ("10.5W", "hemisphere letter"), ("W 10.5", "hemisphere letter"),
        ("N 47.5", "hemisphere letter"), ("-36.2S", "hemisphere letter"), ("47.5°", "degree sign"),
        ("47,5", 'decimal = ","'), ("22S36.0182244", 'angles = "dms"'), ("22S36'01.09", 'angles = "dms"'),
        ("22S3601.09", "a spelling that is not read"),
    ],
)  # fmt: skip
def test_degrees(text: str, piece: str) -> None:
    assert piece in why_no_degrees(text)


def test_degrees_where_minutes_are_expected() -> None:
    assert "decimal degrees" in why_no_dms("-43.7001")
    assert why_no_dms("over there") == "is not an angle in degrees, minutes and seconds"


@pytest.mark.parametrize(
    ("text", "piece"),
    [
        ("1772436600", "seconds since 1970"), ("1772436600.25", "seconds since 1970"),
        ("1772436600123", "milliseconds since 1970"), ("2408 113400.0", "GPS week"), ("2408,113400", "GPS week"),
        ("46083.3125", "serial day"), ("46083,3125", "serial day"), ("07:30:00", "without its date"),
        ("07:30:00.250", "without its date"), ("2026-03-02", "no time of day"), ("02.03.2026", "no time of day"),
        ("20260302", "date alone"), ("113400.00", "gps_seconds"), ("20260302073000", "%Y%m%d%H%M%S"),
        ("02/03/2026 07:30:00 PM", "12-hour"), ("2026-03-02 07:30:00 am", "12-hour"), ("7:30 PM", "12-hour"),
        ("2026-03-02 07:30:00 CEST", "zone abbreviation"), ("2026/03/02 07:30:00", '"%Y/%m/%d %H:%M:%S"'),
        ("02/03/2026 07:30:00", "not guessed"), ("2 Mar 2026 07:30:00", "time_format"),
        ("14/03/2026 08:00:00 μ.μ.", "24-hour clock"), ("14/03/2026 08:00:00 CH", "24-hour clock"),
        ("2026. 03. 14. du. 08:00:00", "24-hour clock"), ("14/03/2026 08:00:00 p", "24-hour clock"),
        ("2026:073:08:00:00", "day of the year"), ("14032026 080000", "year last"),
        ("2026-03-14 09:00:00+1", "hours alone"), ("1st March 2026 08:00:00", "ordinal"),
        ("14.03.2026 08h00", '"%d/%m/%Y %Hh%M"'), ("2026 m. kovo 14 d. 08:00", "language other than"),
        ("2461101.8125", "Julian day"), ("2026-061T07:30:00", "day of the year"), ("N/A", "no value"),
    ],
)  # fmt: skip
def test_times(text: str, piece: str) -> None:
    assert piece in why_no_time(text)


@pytest.mark.parametrize("text", ["soon", "Mon", "", "x y z"])
def test_nothing_is_made_up(text: str) -> None:
    assert why_no_time(text) == "is not a time"
    assert why_no_number(text or "over there") == "is not a number"


def test_a_line_of_data_and_a_header() -> None:
    assert looks_like_data(["P1", "2026-03-02T07:30:00Z", "-43.7", "171.8", "12.5", "fix"])
    assert not looks_like_data(["Point", "Time", "Lat", "Lon", "2026"])
    assert not looks_like_data(["12"])


@pytest.mark.parametrize(
    ("text", "piece"),
    [
        ("10 août 2026 07:42:10", "language other than"), ("10. Mai 2026 07:42", "language other than"),
        ("10 de agosto de 2026 07:42", "language other than"), ("10-MRT-26 07:42", "language other than"),
        ("März 10, 2026 07:42", "language other than"), ("10 мая 2026 07:42", "language other than"),
        ("2026-03-17 오전 7:42:10", "state time_format"),
            ("2026-03-17 abc 7:42:10", "words beside the time of day"),
        ("10 March 2026 07:42", "state time_format"), ("10-mar-2026 07:42:10", "state time_format"),
        ("17Mar2026 07:42", "state time_format"), ("2026 day 078, 20:00", "is not a time"),
    ],
)  # fmt: skip
def test_months_that_no_format_reads_are_not_said_to_be_readable(text: str, piece: str) -> None:
    told = why_no_time(text)
    assert piece in told and ("state time_format" in told) == (piece == "state time_format")


@pytest.mark.parametrize(
    "text",
    [
        "115/03/17 09:30:04",
        "115-3-17T09:30:04",
        "115.03.17",
        "民國115年3月17日 09:30:04",
        "115年03月17日",
        "1150317 09:30:04",
    ],
)
def test_years_that_count_from_1912_are_told_without_a_key(text: str) -> None:
    """The Republic of China's first year was 1912, so its 115th is 2026; no time format adds years."""
    told = why_no_time(text)
    assert "does it count from 1912 on, as in Taiwan, where 115 is 2026?" in told and "state time_format" not in told


@pytest.mark.parametrize("text", ["115/33/17 09:30:04", "2115/03/17 09:30:04", "15/03/17 09:30:04", "115073 09:30:04"])
def test_other_figures_are_not_said_to_count_from_1912(text: str) -> None:
    assert "1912" not in why_no_time(text)
