"""Readings parted into strings: small days written out by hand, and ranges looked for value by value."""

from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from pipeline.codes.writing import Says
from pipeline.draft.segments import first_within, one_source, parted
from pipeline.draft.string_rows import NOT_READ, StringRows

START, END, CLOSE, GOES_ON = (int(says) for says in (Says.START, Says.END, Says.CLOSE, Says(0)))
KERB, FENCE = 0, 1


def day(*readings: tuple[int, int, int] | tuple[int, int, int, int]) -> StringRows:
    """Readings of code, words and time, and of a session other than the first, in the order of the export."""
    code, says, time, session = (
        np.array(column, np.int64) for column in zip(*((*one, 0)[:4] for one in readings), strict=True)
    )
    count = len(readings)
    none: dict[str, Any] = {name: np.zeros(count, np.int64) for name in ("label", "word", "export", "held", "proof")}
    return StringRows(
        number=np.arange(count), code=code, says=says, time=time, session=session, source_row=np.arange(count) + 2,
        on_mark=np.zeros(count, bool), values=np.zeros((count, 5)), names=pa.array([str(row) for row in range(count)]),
        labels=("",), words=("",), **none,
    )  # fmt: skip


def strings(rows: StringRows, in_session: bool = True) -> list[list[int]]:
    """The strings as lists of rows."""
    found = parted(rows, np.arange(len(rows.number)), np.zeros(len(rows.number), np.int64), in_session)
    return [found.rows[first : last + 1].tolist() for first, last in zip(found.first, found.last, strict=True)]


def test_two_strings_observed_in_turn_are_two() -> None:
    rows = day(
        (KERB, START, 10), (FENCE, START, 20), (KERB, GOES_ON, 30), (FENCE, END, 40), (KERB, CLOSE, 50),
    )  # fmt: skip
    assert strings(rows) == [[0, 2, 4], [1, 3]]
    found = parted(rows, np.arange(5), np.zeros(5, np.int64), True)
    assert found.starts.tolist() == [True, True] and found.ends.tolist() == [True, True]
    assert found.closes.tolist() == [True, False]


def test_time_orders_a_string_whatever_the_order_of_the_export() -> None:
    assert strings(day((KERB, END, 30), (KERB, START, 10), (KERB, GOES_ON, 20))) == [[1, 2, 0]]


def test_a_start_without_an_end_before_it_and_what_follows_an_end() -> None:
    rows = day((KERB, START, 1), (KERB, START, 2), (KERB, END, 3), (KERB, GOES_ON, 4))
    assert strings(rows) == [[0], [1, 2], [3]]
    found = parted(rows, np.arange(4), np.zeros(4, np.int64), True)
    assert found.starts.tolist() == [True, True, False] and found.ends.tolist() == [False, True, False]


def test_a_string_lies_in_one_session_unless_it_may_go_on_in_the_next() -> None:
    rows = day((KERB, START, 1, 0), (KERB, GOES_ON, 2, 0), (KERB, END, 3, 1))
    assert strings(rows) == [[0, 1], [2]]
    assert strings(rows, in_session=False) == [[0, 1, 2]]


def test_two_rovers_have_each_their_own_string_of_one_code() -> None:
    rows = day((KERB, START, 1), (KERB, START, 2), (KERB, END, 3), (KERB, END, 4))
    found = parted(rows, np.arange(4), np.array([0, 1, 0, 1]), True)
    assert [found.rows[one : last + 1].tolist() for one, last in zip(found.first, found.last, strict=True)] == [
        [0, 2], [1, 3],
    ]  # fmt: skip


def test_readings_without_time_session_or_meaning_lie_in_no_string() -> None:
    rows = day((KERB, START, 1), (KERB, GOES_ON, -1), (NOT_READ, 0, 2), (KERB, GOES_ON, 3, -1), (KERB, END, 4))
    found = parted(rows, np.arange(5), np.zeros(5, np.int64), True)
    assert found.rows.tolist() == [0, 4]
    assert found.unplaced.tolist() == [1, 2, 3]
    assert (found.unplaced_key < 0).tolist() == [False, True, False]


def test_the_first_and_the_extent_of_what_is_asked_in_each_string() -> None:
    rows = day((KERB, START, 1), (FENCE, START, 2), (KERB, GOES_ON, 3), (FENCE, END, 4), (KERB, END, 5))
    found = parted(rows, np.arange(5), np.zeros(5, np.int64), True)
    assert found.any_of(found.rows >= 3).tolist() == [2, 4]  # rows 4 and 3 of the export
    assert found.any_of(np.zeros(5, bool)).tolist() == [-1, -1]
    least, most = found.span(rows.time[found.rows])
    assert (least.tolist(), most.tolist()) == ([1, 2], [5, 4])


@pytest.mark.parametrize("seed", range(5))
def test_the_first_value_in_a_range_is_that_of_looking_at_all(seed: int) -> None:
    random = np.random.default_rng(seed)
    key, of_key = random.integers(0, 4, 30), random.integers(-1, 4, 40)
    low = random.integers(-50, 50, 30)
    high, value = low + random.integers(0, 20, 30), random.integers(-60, 80, 40)
    found = first_within(key, low, high, of_key, value)
    for one, at in enumerate(found.tolist()):
        within = [value[row] for row in range(40) if of_key[row] == key[one] and low[one] <= value[row] <= high[one]]
        assert (at == -1) == (not within)
        assert at == -1 or (of_key[at] == key[one] and value[at] == min(within))


def test_exports_that_repeat_one_another_are_one_source() -> None:
    """Of five, 0 repeats 3 and 3 repeats 4: one rover; 1 and 2 are others."""
    source = one_source(np.array([3, 3, 4]), np.array([0, 0, 3]), 5)
    assert len({source[0], source[3], source[4]}) == 1
    assert len(set(source.tolist())) == 3
    assert one_source(np.zeros(0, np.int64), np.zeros(0, np.int64), 2).tolist() == [0, 1]
