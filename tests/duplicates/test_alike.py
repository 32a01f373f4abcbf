"""Readings of one moment are compared with all others of it, however time is cut; expected is every pair tried."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pytest

from pipeline.duplicates import Observed, alike, moments, near

EXACT = 255


@dataclass(frozen=True)
class Made:
    """Readings held in arrays, given in pieces of ten."""

    of: Observed
    mixed: np.ndarray

    def times(self) -> Iterator[tuple[slice, np.ndarray, np.ndarray]]:
        for start in range(0, len(self.of.time), 10):
            place = slice(start, min(start + 10, len(self.of.time)))
            yield place, self.of.time[place], self.of.clock[place]

    def observed(self, numbers: np.ndarray) -> Observed:
        assert (np.diff(numbers) > 0).all()
        return self.of.at(numbers)


def made(seed: int, exports: int) -> Made:
    """Readings at a few places kilometres apart, in a few moments, with a few names; all digits are written."""
    random = np.random.default_rng(seed)
    rows = int(random.integers(0, 300))
    place, whole = random.integers(0, 3, rows), np.full(rows, EXACT, np.uint8)
    of = Observed(
        time=random.integers(0, 40, rows) * 1000,
        longitude=171.0 + place * 0.1,
        latitude=-43.0 + place * 0.1,
        height=np.full(rows, 10.0, np.float32),
        name=random.integers(1, 6, rows).astype(np.uint32),
        base=random.integers(0, 3, rows).astype(np.int16),
        export=np.sort(random.integers(0, exports, rows)).astype(np.int32),
        east=whole,
        north=whole,
        up=whole,
        clock=np.full(rows, 3, np.uint8),
    )
    if exports > 1:  # no two of different exports have a name, so that none are one observation
        of = Observed(**{**vars(of), "name": of.name + 10 * of.export.astype(np.uint32)})
    return Made(of, np.zeros(exports, bool))


@pytest.fixture(params=[(1024, 128), (3, 4)], ids=["one stretch of time", "many"])
def _cut(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(moments, "_EVERY", request.param[0])
    monkeypatch.setattr(moments, "_LOOKED_AT", request.param[1])
    monkeypatch.setattr(near, "_AT_ONCE", 50)


@pytest.mark.usefixtures("_cut")
@pytest.mark.parametrize("exports", [1, 3])
@pytest.mark.parametrize("seed", range(6))
def test_every_pair_of_a_moment_is_found(seed: int, exports: int) -> None:
    """Same name elsewhere, or another export's same place under another name; a base id that lacks agrees with any."""
    readings, which = made(seed, exports), np.random.default_rng(seed + 100).random(300) < 0.9
    of = readings.of
    which = which[: len(of.time)]
    apart, renamed = set(), set()
    for one, other in combinations(np.flatnonzero(which).tolist(), 2):
        bases = {int(of.base[one]), int(of.base[other])} - {0}
        if of.time[one] != of.time[other] or len(bases) > 1:
            continue
        here = of.longitude[one] == of.longitude[other]
        if of.name[one] == of.name[other] and not here:
            apart.add((one, other))
        if of.name[one] != of.name[other] and here and of.export[one] != of.export[other]:
            renamed.add((one, other))
    found = alike(readings, which)
    assert not len(found.same)
    assert sorted(map(tuple, found.apart.tolist())) == sorted(apart)
    assert sorted(map(tuple, found.renamed.tolist())) == sorted(renamed)


@pytest.mark.usefixtures("_cut")
def test_a_crowded_moment_is_looked_at_along_its_latitudes() -> None:
    """160 readings of one second, each twice in two exports, the second time with its name lost: 80 are repeats."""
    rows = 160
    north = np.tile(np.arange(80), 2)
    of = Observed(
        time=np.full(rows, 5000),
        longitude=np.full(rows, 171.0),
        latitude=-43.0 + north * 1e-4,
        height=np.full(rows, 10.0, np.float32),
        name=np.where(np.arange(rows) < 80, north + 1, 0).astype(np.uint32),
        base=np.zeros(rows, np.int16),
        export=(np.arange(rows) // 80).astype(np.int32),
        east=np.full(rows, EXACT, np.uint8),
        north=np.full(rows, EXACT, np.uint8),
        up=np.full(rows, EXACT, np.uint8),
        clock=np.full(rows, 3, np.uint8),
    )
    found = alike(Made(of, np.zeros(2, bool)), np.ones(rows, bool))
    assert sorted(map(tuple, found.same.tolist())) == [(row, row + 80) for row in range(80)]


@pytest.mark.parametrize("times", [[7] * 60, [0] * 30 + [7] * 30, list(range(60))], ids=["one", "two", "many"])
def test_each_reading_is_read_once_where_times_are_exact(monkeypatch: pytest.MonkeyPatch, times: list[int]) -> None:
    """A moment that has no length is of one stretch, and a stretch without readings is none."""
    monkeypatch.setattr(moments, "_EVERY", 3)
    monkeypatch.setattr(moments, "_LOOKED_AT", 4)
    readings = made(3, 1)
    assert len(readings.of.time) > 60
    readings = Made(Observed(**{**vars(readings.of.at(np.arange(60))), "time": np.array(times)}), readings.mixed)
    which = np.ones(60, bool)
    cuts, window = moments.same_moment(readings, which)
    found = list(moments.stretches(readings, which, cuts, window))
    assert len(found) == min(len(set(times)), len(cuts) + 1)
    assert [len(one.number) for one in found] == [one.own for one in found]
    assert sorted(np.concatenate([one.number for one in found]).tolist()) == list(range(60))
    assert [one.place for one in found] == [0, *np.cumsum([one.own for one in found[:-1]]).tolist()]
