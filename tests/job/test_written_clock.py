"""The clock that a format's own text states; offsets as their names define them."""

import pytest

from pipeline.job.written_clock import clock_problem, written_clock


@pytest.mark.parametrize(
    ("form", "zone"),
    [
        ("%Y-%m-%d %H:%M:%S UTC+1", "+01:00"),
        ("%Y-%m-%d %H:%M:%S GMT+01:00", "+01:00"),
        ("%d.%m.%Y %H:%M:%S (UTC-3)", "-03:00"),
        ("%d.%m.%Y %H:%M:%S utc+5:30", "+05:30"),
        ("%d.%m.%Y %H:%M:%S MEZ", "+01:00"),
        ("%d.%m.%Y %H:%M Uhr MESZ", "+02:00"),
        ("%Y/%m/%d %H:%M:%S JST", "+09:00"),
        ("%Y-%m-%dT%H:%M:%S.000+01:00", "+01:00"),
        ("%Y-%m-%d %H:%M:%S+0530", "+05:30"),
        ("%Y-%m-%d %H:%M:%S-03", "-03:00"),
        ("%Y-%m-%d %H:%M:%S GPS", "GPS"),
    ],
)
def test_a_clock_in_the_text_of_a_format_is_refused_unless_time_zone_says_it(form: str, zone: str) -> None:
    found = clock_problem(form, "UTC")
    assert found is not None and f'write time_zone = "{zone}"' in found[1]
    assert clock_problem(form, zone) is None
    assert clock_problem(form, "-11:00") is not None


@pytest.mark.parametrize(
    "form",
    [
        "%Y-%m-%dT%H:%M:%SZ",
        "%d.%m.%Y %H:%M:%S UTC",
        "%d.%m.%Y %H:%M:%S GMT",
        "%d.%m.%Y um %H:%M:%S Uhr",
        "%Y年%m月%d日 %H时%M分%S秒",
        "%Y-%m-%d %H-%M-00",
        "%Y-%m-%d %H:%M:%S GMT%z",
        "%d.%m.%Y klo %H.%M",
        "%d %b %Y EL %H:%M:%S,5",
        "unix-seconds",
    ],
)
def test_a_format_that_states_no_other_clock_stands(form: str) -> None:
    assert clock_problem(form, "UTC") is None


def test_universal_time_in_the_text_contradicts_a_local_clock() -> None:
    found = clock_problem("%Y-%m-%d %H:%M:%SZ", "Europe/Vienna")
    assert found is not None and 'write time_zone = "UTC"' in found[1]


def test_a_place_that_keeps_the_clock_agrees_and_another_does_not() -> None:
    form = "%Y-%m-%d %H:%M:%S MEZ"
    assert clock_problem(form, "Europe/Vienna") is None
    assert clock_problem(form, "Europe/Helsinki") is not None


def test_a_name_of_several_clocks_lists_them() -> None:
    found = clock_problem("%Y-%m-%d %H:%M:%S EST", "UTC")
    assert found is not None and '"-05:00" or "+10:00"' in found[1]


def test_figures_that_percent_z_reads_are_told() -> None:
    found = clock_problem("%Y-%m-%d %H:%M:%S GMT+01:00", "UTC")
    assert found is not None and '%z in place of "+01:00"' in found[1]
    found = clock_problem("%Y-%m-%d %H:%M:%S UTC+1", "UTC")
    assert found is not None and "%z" not in found[1]
    assert written_clock("%Y-%m-%d %H:%M:%S UTC%z") is None


@pytest.mark.parametrize("zone", ["Etc/GMT", "GMT", "Zulu", "Etc/UTC", "Atlantic/Reykjavik", "Africa/Accra", "+00:00"])
@pytest.mark.parametrize("stated", ["Z", " UTC", " GMT"])
def test_places_that_keep_universal_time_all_year_agree_with_it(stated: str, zone: str) -> None:
    assert clock_problem(f"%Y-%m-%d %H:%M:%S{stated}", zone) is None


@pytest.mark.parametrize(
    ("name", "zone"),
    [
        ("MSK", "+04:00"),  # Moscow, 2011 to 2014
        ("MSK", "Europe/Moscow"),
        ("MSK", "Europe/Simferopol"),
        ("VET", "-04:30"),  # Venezuela, 2007 to 2016
        ("VET", "America/Caracas"),
        ("CST", "America/Havana"),
        ("CST", "-05:00"),
        ("PET", "Asia/Kamchatka"),
        ("PET", "+12:00"),
        ("EST", "Australia/Sydney"),
        ("KST", "Asia/Pyongyang"),
    ],
)
def test_any_meaning_of_a_name_agrees(name: str, zone: str) -> None:
    assert clock_problem(f"%d.%m.%Y %H:%M:%S {name}", zone) is None


def test_a_name_of_other_offsets_in_other_years_lists_them() -> None:
    found = clock_problem("%d.%m.%Y %H:%M:%S MSK", "UTC")
    assert found is not None and '"+03:00" or "+04:00"' in found[1]
    stated = written_clock("%d.%m.%Y %H:%M:%S MSK")
    assert stated is not None and stated.zones == ("+03:00",)


@pytest.mark.parametrize("form", ["D:%d.%m.%Y Z:%H:%M:%S", "Z %d.%m.%Y %H:%M:%S", "%%Z %d.%m.%Y %H:%M"])
def test_a_z_before_the_time_of_day_is_a_label(form: str) -> None:
    assert clock_problem(form, "Europe/Vienna") is None


@pytest.mark.parametrize(
    ("form", "zone", "instead"),
    [
        ("%Y-%m-%dT%H:%M:%SZ", "Europe/Vienna", "%Y-%m-%dT%H:%M:%S'Z'"),
        ("GPS %d.%m.%Y %H:%M:%S", "UTC", "'GPS' %d.%m.%Y %H:%M:%S"),
        ("%d.%m.%Y %H:%M:%S-0012", "Europe/Vienna", "%d.%m.%Y %H:%M:%S'-0012'"),
        ("%d.%m.%Y %H:%M:%S-01", "Europe/Vienna", "%d.%m.%Y %H:%M:%S'-01'"),
        ("%d.%m.%Y %T UTC+1", "+02:00", "%d.%m.%Y %T 'UTC+1'"),
        ("MEZ/MESZ %d.%m.%Y %T", "+03:00", "'MEZ'/'MESZ' %d.%m.%Y %T"),
        ("ARTZ Z%d.%m.%Y %T Z Z", "+01:00", "ARTZ 'Z'%d.%m.%Y %T 'Z' 'Z'"),
    ],
)
def test_text_in_quotes_is_no_clock(form: str, zone: str, instead: str) -> None:
    found = clock_problem(form, zone)
    assert found is not None
    fixed = found[1].partition("put it in quotes: time_format = ")[2]
    if "Z Z" not in form:
        assert fixed == f'"{instead}"'
    assert written_clock(fixed.strip('"')) is None and clock_problem(fixed.strip('"'), zone) is None
