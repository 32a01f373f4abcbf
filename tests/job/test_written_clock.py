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
