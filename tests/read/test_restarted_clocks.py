"""Times as a clock of 12 hours writes them, by Python's %I, and as crews do on one of 24 hours, one behind another."""

import datetime as dt

import numpy as np
import pytest

from pipeline.arrays import Integers
from pipeline.read.restarted_clocks import starts_again

MINUTES = np.timedelta64(1, "m")


def span(begin: str, end: str, every: int = 10) -> list[dt.datetime]:
    """Return moments of 2026-03-20 from ``begin`` to ``end``, hours and minutes."""
    first, last = (np.datetime64(f"2026-03-20T{text}", "m") for text in (begin, end))
    return np.arange(first, last + MINUTES, every * MINUTES).tolist()


def shown(moments: list[dt.datetime], form: str) -> Integers:
    """Return the milliseconds that a clock shows which writes hours by ``form``, %H or %I."""
    texts = [at.strftime(f"%Y-%m-%dT{form}:%M") for at in moments]
    return np.array(texts, "datetime64[ms]").astype(np.int64)


@pytest.mark.parametrize(
    "day",
    [
        span("09:01", "17:01"),
        span("09:01", "11:51") + span("15:01", "18:01"),  # a break of three hours
        span("12:01", "14:01"),
        span("07:01", "19:41"),  # past the hour at which the day began
        span("07:01", "11:51") + span("13:01", "19:41"),
        # a receiver that writes its rows two minutes late
        [at for early in span("09:05", "17:05") for at in (early, early - dt.timedelta(minutes=2))],
    ],
)
def test_an_afternoon_of_a_12_hour_clock_is_told_at_its_first_row(day: list[dt.datetime]) -> None:
    times = shown(day, "%I")
    first = next(row for row, at in enumerate(day) if at.hour >= 13)
    assert starts_again(times) == first
    # so it is on each of two days, and on one that has no afternoon before
    later = [at + dt.timedelta(days=1) for at in day]
    assert starts_again(shown([*day, *later], "%I")) == first
    assert starts_again(shown([*span("09:01", "11:01"), *later], "%I")) == first + len(span("09:01", "11:01"))
    assert starts_again(shown(day, "%H")) is None


@pytest.mark.parametrize(
    "rows",
    [
        span("01:10", "12:50") + span("01:00", "11:50"),  # two crews, all day
        span("04:00", "10:00") + span("01:30", "08:00"),  # two that overlap
        span("04:00", "12:00") + span("01:30", "08:00"),
        span("09:00", "12:50") + span("07:00", "12:50"),
        span("08:00", "12:50") + span("06:00", "07:00") + span("03:00", "04:00"),  # sorted by something else
        (span("09:00", "12:50") + span("01:00", "03:00")) * 2,
        span("01:00", "12:50"),
        [*span("09:00", "12:00"), dt.datetime(2026, 3, 20, 1, 5), *span("12:10", "12:50")],  # a slip
        [],
    ],
)
def test_crews_that_follow_one_another_on_a_24_hour_clock_are_let_be(rows: list[dt.datetime]) -> None:
    assert starts_again(shown(rows, "%H")) is None


def test_hours_beyond_twelve_or_before_one_are_of_no_12_hour_clock() -> None:
    day = span("09:01", "17:01")
    for other in ("2026-03-19T13:00", "2026-03-19T00:30"):
        times = np.append(np.datetime64(other, "ms").astype(np.int64), shown(day, "%I"))
        assert starts_again(times) is None
