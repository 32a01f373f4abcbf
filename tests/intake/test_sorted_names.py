"""Names that were sorted alone as texts, in a batch of readings, and orders in which crews name or set out points."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from running import record_of
from sifted_batches import sifted_batch
from simulate import ELLIPSOIDAL, Plan, simulate

from pipeline.arrays import Floats
from pipeline.intake.sorted_names import NamesInOrder, SortedNames
from pipeline.job.model import Columns, Points
from pipeline.read.exports import Export

#: Points of a walk.
COUNT = 110


def numbered(prefix: str = "w", first: int = 1, count: int = COUNT) -> list[str]:
    return [f"{prefix}{number}" for number in range(first, first + count)]


def walk(count: int = COUNT) -> Floats:
    """Return (n, 2) places on a road, in pairs left and right, a pair every 12 m."""
    along, side = np.divmod(np.arange(count), 2)
    return np.column_stack([12.0 * along, np.where(along % 2, 1 - side, side) * 7.0 + 0.01 * along])


def looked_at(names: list[str], place: Floats, seconds: Floats | None = None) -> list[SortedNames]:
    seconds = np.arange(len(names)) * 10.0 if seconds is None else seconds
    columns = Columns(name="Name", time="Time", height="H", easting="E", northing="N")
    points = Points(files=["rover.csv"], crs="EPSG:32633", columns=columns)
    batch = pa.RecordBatch.from_pydict(
        {
            "name": names,
            "first": place[:, 0],
            "second": place[:, 1],
            "third": np.full(len(names), 20.0),
            "time": pa.array((seconds * 1000).astype(np.int64), pa.timestamp("ms", "UTC")),
            "source_row": np.arange(len(names)) + 2,
        }
    )
    found = NamesInOrder()
    found.take(sifted_batch(batch, Export(Path("rover.csv"), "rover.csv", 0, points, "", ())))
    return list(found.found())


@pytest.mark.parametrize("prefix", ["w", "", "Ж-"])
@pytest.mark.parametrize(("first", "count"), [(1, COUNT), (95, 15), (1, 30), (990, 40)])
@pytest.mark.parametrize("falls", [False, True])
def test_names_sorted_alone_are_found(prefix: str, first: int, count: int, falls: bool) -> None:
    names = sorted(numbered(prefix, first, count), reverse=falls)
    steps = np.sign(np.diff([int(name.removeprefix(prefix)) for name in names]))
    found = looked_at(names, walk(count))
    if np.count_nonzero(steps == (1 if falls else -1)) < 2:
        assert found == []  # one block of shorter numbers behind one of longer ones
    else:
        assert [(one.first, one.last, one.count) for one in found] == [(2, count + 1, count)]


def test_a_stretch_of_a_file_is_found_where_it_stands() -> None:
    names = numbered()
    names[20:60] = sorted(names[:40])
    (found,) = looked_at(names, walk())
    assert (found.first, found.last) == (22, 61)


@pytest.mark.parametrize(
    "names",
    [
        numbered(),
        numbered("w", 95)[::-1],
        [f"w{number:03d}" for number in range(1, COUNT + 1)],
        [f"s{section}{point}" for section in range(1, 12) for point in range(10)],
        [f"s{section}.{point}" for section in range(1, 12) for point in range(10)],
        [f"{20 * number // 1000}+{20 * number % 1000:03d}" for number in range(COUNT)],
        [f"{rover}{number:02d}" for number in range(COUNT // 2) for rover in (1, 20)],
        np.random.default_rng(1).permutation(numbered()).tolist(),
        ["" for _ in range(COUNT)],
        [f"{'9' * 400}{number}" for number in range(COUNT)],
    ],
    ids=["numbers", "backwards", "zeros", "sections", "parts", "chainages", "rovers", "any", "none", "long"],
)
def test_names_that_crews_give_are_let_be(names: list[str]) -> None:
    assert looked_at(names, walk()) == []


def test_points_set_out_as_a_list_has_them_are_let_be() -> None:
    """The controller offers the points in the order of texts, and the crew walks to and fro."""
    names = numbered()
    order = sorted(range(COUNT), key=names.__getitem__)
    assert looked_at([names[at] for at in order], walk()[order]) == []


def test_a_whole_table_that_was_sorted_by_name_is_let_be() -> None:
    order = np.array(sorted(range(COUNT), key=numbered().__getitem__))
    assert looked_at([numbered()[at] for at in order], walk()[order], order * 10.0) == []


def test_a_day_whose_names_were_sorted_is_told(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=60, checks=3, place=ELLIPSOIDAL))
    points = np.flatnonzero(job.rows["kind"] == "point")
    line = 9e-5 * np.arange(len(points))
    job.rows["longitude"][points] = job.rows["longitude"][points[0]] + line
    job.rows["latitude"][points] = job.rows["latitude"][points[0]] + 0.2 * line
    job.rows["name"][points] = sorted(numbered("p", 1, len(points)))
    (note,) = (note for note in record_of(job.write(tmp_path))["notes"] if "in the order of texts" in note)
    assert ": 60 rows in the order of their times (to row " in note and '("p19", then "p2")' in note
