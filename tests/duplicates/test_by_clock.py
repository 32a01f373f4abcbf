"""One reading by two clocks: name and position to the last digit, all as much later; what chance may give is not."""

import numpy as np
import pytest

from pipeline.duplicates import Observed, agreeing, by_another_clock

#: Codes of the last digit: 10^(-c/16) metres.
TENTH, MILLIMETRE, CENTIMETRE = 64, 48, 32
HOUR = 3_600_000


def readings(rows: list[tuple[str, int, int, int]], digit: int, height: float = 12.3456) -> tuple[Observed, np.ndarray]:
    """Rows of name, number of the place, time and export, with what tells name and place apart."""
    count = len(rows)
    names, places, times, exports = (np.array(column) for column in zip(*rows, strict=True))
    name = np.unique(names, return_inverse=True)[1] + 1
    code = np.full(count, digit, np.uint8)
    of = Observed(
        time=times.astype(np.int64),
        longitude=170.0 + places,
        latitude=np.full(count, -43.0),
        height=np.full(count, height, np.float32),
        name=name.astype(np.uint32),
        base=np.zeros(count, np.int16),
        export=exports.astype(np.int32),
        east=code,
        north=code,
        up=code,
        clock=np.full(count, 3, np.uint8),
    )
    return of, (name * 1000 + places).astype(np.uint64)


def found(
    rows: list[tuple[str, int, int, int]], digit: int, marks: bool = False, height: float = 12.3456
) -> list[tuple[int, int]]:
    of, place = readings(rows, digit, height)
    pairs = by_another_clock(of, place, np.zeros(len(rows), np.int64), np.full(len(rows), marks))
    pairs = pairs[agreeing(of, pairs, of)] if len(pairs) else pairs
    return sorted(map(tuple, pairs.tolist()))


def day(count: int, later: int, export: int = 1) -> list[tuple[str, int, int, int]]:
    """Points once, and once more so much later."""
    once = [(f"P{n}", n, n * 60_000, 0) for n in range(count)]
    return once + [(name, place, time + later, export) for name, place, time, _ in once]


@pytest.mark.parametrize("later", [18_000, -3 * HOUR, 13 * HOUR])
@pytest.mark.parametrize("export", [0, 1])
@pytest.mark.parametrize(("digit", "count"), [(TENTH, 2), (MILLIMETRE, 2), (CENTIMETRE, 7)])
def test_a_day_by_another_clock(digit: int, count: int, export: int, later: int) -> None:
    """The chance that two observations agree so: (u / 20 mm)³ each, in all below 2e-6."""
    assert found(day(count, later, export), digit) == [(n, n + count) for n in range(count)]


@pytest.mark.parametrize(("digit", "count"), [(TENTH, 1), (MILLIMETRE, 1), (CENTIMETRE, 6)])
def test_few_agreements_may_be_chance(digit: int, count: int) -> None:
    assert found(day(count, HOUR), digit) == []


def test_two_marks_of_which_each_is_another_time_later_may_be_chance_to_the_millimetre() -> None:
    rows = [("M1", 1, 0, 0), ("M2", 2, 60_000, 0), ("M1", 1, HOUR, 0), ("M2", 2, 2 * HOUR + 60_000, 0)]
    assert found(rows, MILLIMETRE, marks=True) == []
    assert found(rows, TENTH, marks=True) == [(0, 2), (1, 3)]


def test_an_occupation_alone_is_told_with_digits_enough() -> None:
    assert found(day(1, HOUR), TENTH, marks=True) == [(0, 1)]
    assert found(day(1, HOUR), MILLIMETRE, marks=True) == []


@pytest.mark.parametrize("height", [0.0, float("nan")])
def test_a_height_that_is_none_says_nothing(height: float) -> None:
    assert found(day(1, HOUR), TENTH, marks=True, height=height) == []


def test_a_logger_at_rest_is_left_in_peace() -> None:
    rows = [("TRACK", place, 1000 * (20 * place + n), 0) for place in range(10) for n in range(3)]
    assert found(rows, TENTH) == []
    assert found([(f"T{place}", 0, 1000 * n, 0) for place in range(9) for n in range(5)], TENTH) == []


def test_times_to_another_unit_are_as_much_later() -> None:
    rows = [(f"P{n}", n, n * 60_000 + 333, 0) for n in range(3)]
    rows += [(name, place, time - time % 1000 + HOUR, 1) for name, place, time, _ in rows]
    assert len(found(rows, MILLIMETRE)) == 3


def test_nothing_of_nothing() -> None:
    of, place = readings([("P", 0, 0, 0)], TENTH)
    none = of.at(np.zeros(0, np.int64))
    assert by_another_clock(none, place[:0], np.zeros(0, np.int64), np.zeros(0, bool)).shape == (0, 2)


@pytest.mark.parametrize("later", [1_000, 5_000, 30_000, 300_000, 24 * HOUR, 15 * HOUR])
def test_what_comes_again_by_no_clock_is_left_in_peace(later: int) -> None:
    """Epochs of stop and go, points that are measured twice at once, a list that is keyed in every day."""
    assert found(day(20, later), TENTH, marks=True) == []


@pytest.mark.parametrize("later", [17_000, 19_000, HOUR // 4, 11 * HOUR + HOUR // 2, 13 * HOUR + 18_000])
def test_lags_of_clocks(later: int) -> None:
    """A zone, GPS time, one that misses a second, and a zone's clock on GPS time."""
    assert len(found(day(20, later), MILLIMETRE)) == 20


@pytest.mark.parametrize("export", [0, 1])
@pytest.mark.parametrize(("differ", "told"), [(40, 0), (2, 18)])
def test_points_measured_twice_of_which_some_agree_by_chance(differ: int, told: int, export: int) -> None:
    """As much later are as many as differ, too: what agrees among them is chance, up to a few reduced again."""
    rows = day(18, HOUR, export)
    rows += [(f"D{n}", n, (30 + n) * 60_000, 0) for n in range(differ)]
    rows += [(f"D{n}", 500 + n, (30 + n) * 60_000 + HOUR, export) for n in range(differ)]
    assert len(found(rows, MILLIMETRE)) == told


@pytest.mark.parametrize("export", [0, 1])
def test_a_track_under_one_name_by_another_clock(export: int) -> None:
    """Every second a place of its own under one name: 18 s after each comes another of its own, too."""
    rows = [("TRACK", n, n * 1000, 0) for n in range(100)]
    rows += [(name, n, time + 18_000, export) for name, n, time, _ in rows]
    assert len(found(rows, TENTH, marks=True)) == 100
