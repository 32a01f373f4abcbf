"""Times as people read them: every year in four figures, as ISO 8601 has it, in sentences and records alike."""

from datetime import UTC, datetime, timedelta

import pytest

from pipeline.clock import between, iso, seconds_text, stamp

#: 719,162 days from the first of January of the year 1 to that of 1970: 1969 years of 365 days, 477 leap days.
YEAR_1 = -719_162 * 86_400_000


@pytest.mark.parametrize(
    ("time", "text"),
    [
        (YEAR_1, "0001-01-01 00:00:00"),
        (YEAR_1 + 3_723_999, "0001-01-01 01:02:03"),
        (0, "1970-01-01 00:00:00"),
        (1_772_436_600_000, "2026-03-02 07:30:00"),
    ],
)
def test_a_time_reads_alike_wherever_it_stands(time: int, text: str) -> None:
    assert stamp(time) == text
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=time)
    assert iso(moment, "seconds") == text.replace(" ", "T") + "Z"


def test_a_time_reads_as_on_its_own_clock() -> None:
    assert seconds_text(datetime.fromisoformat("2026-03-02T07:30:00.250+13:00")) == "2026-03-02 07:30:00"


def test_a_stretch_names_its_day_once() -> None:
    assert between(YEAR_1, YEAR_1 + 60_000) == "from 0001-01-01 00:00:00 to 00:01:00 UTC"
