"""A row is a repeat when name, base, time and position are those of an earlier one, and only then."""

from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from pipeline.duplicates import observation_hashes, repeated

Row = tuple[str | None, str | None, int, float]


def batch(rows: list[Row]) -> pa.RecordBatch:
    times = [datetime.fromtimestamp(time, UTC) for _, _, time, _ in rows]
    return pa.record_batch(
        {
            "name": pa.array([row[0] for row in rows], pa.string()),
            "base": pa.array([row[1] for row in rows], pa.string()),
            "time": pa.array(times, pa.timestamp("ms", "UTC")),
            "first": pa.array([row[3] for row in rows], pa.float64()),
            "second": pa.array([0.5] * len(rows), pa.float64()),
            "third": pa.array([1.5] * len(rows), pa.float64()),
        }
    )


ROWS = st.lists(
    st.tuples(
        st.sampled_from(["P1", "P11", "1P", "", "é"]),
        st.sampled_from([None, "A", "AA"]),
        st.integers(0, 3),
        st.sampled_from([170.0, 170.00000000001]),
    ),
    max_size=40,
)


@given(ROWS, st.integers(0, 40))
def test_repeats_are_those_that_a_dictionary_finds(rows: list[Row], cut: int) -> None:
    hashes = np.concatenate([observation_hashes(batch(rows[:cut])), observation_hashes(batch(rows[cut:]))])
    again, first = repeated([hashes[:cut], hashes[cut:]], np.ones(len(rows), bool))
    seen: dict[Row, int] = {}
    expected = [(number, seen[row]) for number, row in enumerate(rows) if seen.setdefault(row, number) != number]
    assert list(zip(again.tolist(), first.tolist(), strict=True)) == expected


def test_a_slice_of_a_batch_hashes_like_the_rows_alone() -> None:
    rows: list[Row] = [("P1", "A", 1, 170.0), ("P22", None, 2, 171.0), ("P333", "B", 3, 172.0)]
    whole = observation_hashes(batch(rows))
    assert (observation_hashes(batch(rows).slice(1)) == whole[1:]).all()


def test_rows_that_could_not_be_read_repeat_nothing() -> None:
    rows: list[Row] = [("P1", "A", 1, 170.0)] * 3
    again, _ = repeated([observation_hashes(batch(rows))], np.array([True, False, True]))
    assert again.tolist() == [2]


def test_a_million_different_readings_are_all_different() -> None:
    count = 1_000_000
    names = pa.array(np.arange(count)).cast(pa.string())
    same = {name: pa.array(np.full(count, 1.0)) for name in ("first", "second", "third")}
    times = pa.array(np.zeros(count, np.int64)).cast(pa.timestamp("ms", "UTC"))
    readings = pa.record_batch({"name": names, "base": pa.nulls(count, pa.string()), "time": times, **same})
    assert len(np.unique(observation_hashes(readings))) == count
