"""Readings by session, whatever the order of the exports; expected are comparisons of all rows with the session."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.intake import by_session
from pipeline.intake.by_session import BySession
from pipeline.intake.columns import DiskColumns
from pipeline.intake.ledger import PLACED, PLACEHOLDER, SOUND, ReadingRows

KINDS: dict[str, type[Any]] = {
    "longitude": np.float64,
    "latitude": np.float64,
    "height": np.float32,
    "hashes": np.uint64,
}


class Counted(DiskColumns):
    """Columns that count how often rows are taken from them."""

    taken = 0

    def take(self, *args: Any) -> list[NDArray[Any]]:
        self.taken += 1
        return super().take(*args)


def readings(sessions: NDArray[np.int16]) -> tuple[ReadingRows, dict[str, NDArray[Any]]]:
    """Return readings of these sessions (n,) at random places, in pieces of 40 laid down, and their columns."""
    random, count = np.random.default_rng(5), len(sessions)
    values: dict[str, NDArray[Any]] = {
        "longitude": random.uniform(20.0, 20.1, count),
        "latitude": random.uniform(50.0, 50.1, count),
        "height": random.uniform(0.0, 30.0, count),
        "hashes": random.integers(0, 2**63, count),
    }
    columns = Counted(KINDS, held=0)
    for start in range(0, count, 40):
        columns.add({name: column[start : start + 40] for name, column in values.items()})
    flags = random.choice([SOUND | PLACED, SOUND | PLACED | PLACEHOLDER, PLACED, SOUND], count).astype(np.uint16)
    none = np.zeros(1, bool)
    return ReadingRows(
        columns,
        sessions,
        flags,
        np.zeros(1, np.int64),
        np.zeros((1, 3), np.uint8),
        none,
        none,
    ), values


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, rows in (("_BLOCK", 32), ("_PIECE", 64), ("_TOGETHER", 128)):
        monkeypatch.setattr(by_session, name, rows)


def of_many(order: str) -> NDArray[np.int16]:
    """Return 900 readings' sessions: 2 has 300, 12 none, some readings are of no session."""
    each = [-1, *range(12), *range(13, 31)]
    found = np.repeat(np.array(each, np.int16), [300 if session == 2 else 20 for session in each])
    return found if order == "in order" else np.random.default_rng(6).permutation(found)


@pytest.mark.parametrize("order", ["in order", "scattered"])
@pytest.mark.parametrize("asked", [range(32), range(31, -1, -1)], ids=["forwards", "backwards"])
def test_each_session_has_its_own(order: str, asked: range) -> None:
    rows, values = readings(of_many(order))
    which = rows.having(SOUND)
    found = BySession(rows, which)
    for session in asked:
        mine = found.of(session)
        expected = np.flatnonzero(which & (rows.session == session))
        for _ in range(2):
            pieces = list(mine)
            assert np.array_equal(np.concatenate([np.zeros(0, np.int64), *(one.number for one in pieces)]), expected)
            for one in pieces:
                assert np.array_equal(one.longitude, values["longitude"][one.number])
                assert np.array_equal(one.latitude, values["latitude"][one.number])
                assert np.array_equal(one.height, values["height"][one.number].astype(np.float32))
                assert np.array_equal(one.flags, rows.flags[one.number])
        false = (rows.flags[expected] & PLACEHOLDER) != 0
        known = expected[((rows.flags[expected] & PLACED) != 0) & ~false]
        assert (mine.count, mine.references, mine.placeholders) == (len(expected), len(known), np.count_nonzero(false))
        for every in (1, 3):
            some = known[values["hashes"][known] % every == 0]
            places, heights = mine.references_of(every)
            assert places.shape == (len(some), 3)
            assert np.array_equal(heights, values["height"][some].astype(np.float32))


def test_scattered_sessions_are_read_together() -> None:
    """Of 30 sessions of about 15 readings each, some 8 are read at a time, each once whatever is asked of it."""
    rows, _ = readings(np.random.default_rng(7).integers(0, 30, 600).astype(np.int16))
    found = BySession(rows, rows.having(SOUND))
    for session in range(30):
        mine = found.of(session)
        mine.references_of(1)
        assert sum(map(len, mine)) == mine.count
    assert isinstance(rows.columns, Counted)
    assert rows.columns.taken <= 6
