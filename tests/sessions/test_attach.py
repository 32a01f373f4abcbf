"""Attaching holds to its definition: half-open intervals, base ids where sessions overlap, nothing dropped."""

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.sessions.attach import OUTSIDE, TWO, base_key, index_sessions

SESSIONS = [
    (1000, 2000, "A"),
    (2000, 3000, "A"),  # starts where the one before ends
    (1500, 2500, "B"),  # overlaps both
    (4000, 5000, None),
]


def expected(time: int, base: str | None) -> int:
    """Say by plain comparison which session a reading belongs to."""
    covering = [
        number
        for number, (start, end, of) in enumerate(SESSIONS)
        if start <= time < end and (base is None or of is None or of == base)
    ]
    return OUTSIDE if not covering else covering[0] if len(covering) == 1 else TWO


def attach(times: list[int], bases: list[str | None]) -> list[int]:
    starts, ends, ids = zip(*SESSIONS, strict=True)
    index = index_sessions(starts, ends, ids)
    return index.attach(np.array(times, np.int64), pa.array(bases, pa.string())).tolist()


@given(st.lists(st.tuples(st.integers(500, 5500), st.sampled_from([None, "A", "B", "C"])), max_size=60))
def test_every_reading_gets_the_session_that_plain_comparison_gives(readings: list[tuple[int, str | None]]) -> None:
    times, bases = [time for time, _ in readings], [base for _, base in readings]
    assert attach(times, bases) == [expected(time, base) for time, base in readings]


@pytest.mark.parametrize(
    ("time", "base", "session"),
    [(1000, "A", 0), (1999, "A", 0), (2000, "A", 1), (2999, "A", 1), (3000, "A", OUTSIDE), (999, "A", OUTSIDE)],
)
def test_an_interval_holds_its_start_and_not_its_end(time: int, base: str, session: int) -> None:
    assert attach([time], [base]) == [session]


def test_a_reading_without_base_id_in_two_sessions_is_given_to_neither() -> None:
    assert attach([1600, 1200, 1600], [None, None, ""]) == [TWO, 0, TWO]


def test_a_reading_of_another_base_is_not_given_to_the_session_of_its_time() -> None:
    assert attach([1200], ["B"]) == [OUTSIDE]


def test_base_ids_are_compared_without_case_and_surrounding_space() -> None:
    assert attach([1600], [" b "]) == [2]
    assert base_key("  ") is None and base_key(None) is None
