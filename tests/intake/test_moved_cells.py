"""Heights and places that were moved by one row in a spreadsheet, in a batch of readings, and honest days like it."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from sifted_batches import sifted_batch

from pipeline.arrays import Floats
from pipeline.intake.moved_cells import MovedCells, MovedColumns
from pipeline.job.model import Columns, Points
from pipeline.read.exports import Export

COUNT = 120


def looked_at(place: Floats, batch: int = 1_000) -> list[MovedCells]:
    """Return what is found in batches of an export with (n, 3) eastings, northings and heights [m]."""
    columns = Columns(name="Name", time="Time", height="H", easting="E", northing="N")
    points = Points(files=("rover.csv",), crs="EPSG:32633", columns=columns)
    rows = pa.RecordBatch.from_pydict(
        {**dict(zip(("first", "second", "third"), place.T, strict=True)), "source_row": np.arange(len(place)) + 2}
    )
    sound = np.asarray(np.isfinite(place).all(axis=1))
    found = MovedColumns()
    export = Export(Path("rover.csv"), "rover.csv", 0, points, "", ())
    for begin in range(0, len(place), batch):
        found.take(sifted_batch(rows.slice(begin, batch), export, sound[begin : begin + batch]))
    return list(found.found())


def hills(seed: int) -> Floats:
    """Return (n, 3) a walk over hills with a noise of two centimetres."""
    random = np.random.default_rng(seed)
    east, north = np.cumsum(random.normal(0.0, 7.0, (2, COUNT)), axis=1)
    up = 300.0 + 12.0 * np.sin(east / 37.0) * np.cos(north / 29.0) + random.normal(0.0, 0.02, COUNT)
    return np.column_stack([east, north, up]).round(4)


def moved(place: Floats, axes: list[int], down: bool, blank: bool, last: int = 80) -> Floats:
    """Return places with cells of columns moved in rows 40 to ``last``, the first repeated or left blank."""
    place = place.copy()
    cells = place[40:last, axes]
    if down:
        place[41:last, axes] = cells[:-1]
    else:
        place[40 : last - 1, axes] = cells[1:]
    if blank:
        place[40 if down else last - 1, axes] = np.nan
    return place


@pytest.mark.parametrize(("axes", "blank"), [([2], False), ([2], True), ([0, 1], True), ([0, 1], False)])
@pytest.mark.parametrize("down", [True, False])
def test_cells_moved_by_a_row_are_found(axes: list[int], blank: bool, down: bool) -> None:
    for seed in range(5):
        (one,) = looked_at(moved(hills(seed), axes, down, blank))
        assert (one.plan, one.blank, one.down) == (axes == [0, 1], blank, down)
        assert one.trace == (42 if down else 81 if blank else 80)
        assert 30 <= one.count <= 50


@pytest.mark.parametrize("count", [4, 6])
def test_few_rows_are_found_where_the_ground_tells(count: int) -> None:
    """Rows near the top or the foot of a hill, which fit either way, stay untold: some of twenty days do not."""
    days = [(seed, down) for seed in range(10) for down in (True, False)]
    found = [one for seed, down in days for one in looked_at(moved(hills(seed), [2], down, True, 41 + count))]
    assert len(found) >= 7 and all(abs(one.count - count) <= 2 for one in found)


@pytest.mark.parametrize("batch", [39, 43, 61, 79])
@pytest.mark.parametrize("down", [True, False])
def test_so_are_those_where_a_batch_ends(down: bool, batch: int) -> None:
    for blank in (True, False):
        place = moved(hills(2), [2], down, blank)
        (one,), (whole,) = looked_at(place, batch), looked_at(place)
        assert (one.trace, one.blank, one.plan, one.down) == (whole.trace, whole.blank, whole.plan, whole.down)
        assert 30 <= one.count <= 50


def flat(random: np.random.Generator) -> Floats:
    east, north = np.cumsum(random.normal(0.0, 7.0, (2, COUNT)), axis=1)
    return np.column_stack([east, north, 100.0 + random.normal(0.0, 0.02, COUNT)])


def water(random: np.random.Generator) -> Floats:
    along = np.arange(COUNT) * 9.0
    return np.column_stack([along, 20.0 * np.sin(along / 90.0), 50.0 + random.normal(0.0, 0.006, COUNT)])


def pins(random: np.random.Generator) -> Floats:
    pin = np.column_stack([random.uniform(0.0, 80.0, (12, 2)), random.normal(60.0, 2.0, 12)])
    return np.tile(pin, (COUNT // 12, 1)) + random.normal(0.0, 0.005, (COUNT, 3))


def sections(random: np.random.Generator) -> Floats:
    section, point = np.divmod(np.arange(COUNT), 6)
    across = np.array([-9.0, -5.0, -1.0, 1.0, 5.0, 9.0])[point]
    up = 200.0 + 0.4 * section - 0.1 * (np.abs(across) > 6.0) * 15.0
    return np.column_stack([20.0 * section, across, up + random.normal(0.0, 0.01, COUNT)])


def plane(random: np.random.Generator) -> Floats:
    row, column = np.divmod(np.arange(COUNT), 12)
    return np.column_stack([10.0 * column, 10.0 * row, 100.0 + 0.3 * column + 0.01 * row])


def white(random: np.random.Generator) -> Floats:
    return np.column_stack([random.uniform(0.0, 200.0, (COUNT, 2)), random.normal(100.0, 5.0, COUNT)])


@pytest.mark.parametrize("ground", [flat, water, pins, sections, plane, white])
@pytest.mark.parametrize("trace", ["blank height", "blank place", "equal heights", "equal places"])
def test_a_row_without_a_height_or_two_with_one_are_nothing_on_honest_days(
    ground: Callable[[np.random.Generator], Floats], trace: str
) -> None:
    for seed in range(3):
        random = np.random.default_rng(seed)
        place = ground(random)
        at = int(random.integers(20, COUNT - 20))
        if trace == "equal heights":
            place[at + 1, 2] = place[at, 2]
        elif trace == "equal places":  # the pole stood where it was, and was read once more
            place[at + 1] = place[at] + (0.0, 0.0, 0.013)
        else:
            place[at, [2] if trace == "blank height" else [0, 1]] = np.nan
        assert looked_at(place.round(3)) == []


@pytest.mark.parametrize("axes", [[2], [0, 1]])
def test_one_height_that_is_far_out_is_not_explained_by_a_row_without_a_number(axes: list[int]) -> None:
    place = hills(3)
    place[80, 2] += 80.0
    place[60, axes] = np.nan
    assert looked_at(place) == []
