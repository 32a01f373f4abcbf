"""What two issues do not have in common, however their rows come: compared with plain counting of the same rows."""

import errno
import tempfile
from collections import Counter
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from pipeline.geodesy.axes import Axes
from pipeline.reissue import left_over as module
from pipeline.reissue.changes import compare
from pipeline.reissue.counted_changes import attributes_changed
from pipeline.reissue.laid_down import LaidDown
from pipeline.reissue.left_over import left_over
from pipeline.reissue.side import Side, differing
from pipeline.tables import TIME
from pipeline.words import Change


def pieces(rows: list[int], size: int) -> list[Any]:
    return [np.array(rows[start : start + size], np.uint64) for start in range(0, len(rows), size)]


def altered(rows: list[int], how: str, chance: np.random.Generator) -> list[int]:
    """Return the rows of a later issue."""
    if how == "some changed":
        return [row + 1000 if chance.random() < 0.2 else row for row in rows]
    if how == "begins otherwise":
        return [7, 7, *rows[5:]]
    if how == "two parts swapped":
        return [*rows[60:], *rows[:60]]
    return {"the same": rows, "longer": [*rows, 5, 6], "none": [], "shuffled": list(chance.permutation(rows))}[how]


@pytest.mark.parametrize("waiting", [1, 30, 1 << 18])
@pytest.mark.parametrize(
    "how", ["the same", "some changed", "begins otherwise", "two parts swapped", "longer", "none", "shuffled"]
)
@pytest.mark.parametrize(("size", "other"), [(1000, 1000), (7, 40), (40, 7), (1, 1)])
def test_what_is_left_is_what_the_other_has_fewer_of(
    waiting: int, how: str, size: int, other: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Many rows are alike: names that several points have, at one time and place."""
    monkeypatch.setattr(module, "WAITING", waiting)
    chance = np.random.default_rng(5)
    before = chance.integers(0, 60, 120).tolist()
    after = [int(row) for row in altered(before, how, chance)]
    old, new = left_over(pieces(before, size), pieces(after, other))
    had, has = Counter(before), Counter(after)
    assert Counter(before[row] for row in old) == had - has
    assert Counter(after[row] for row in new) == has - had
    for numbers in (old, new):
        assert sorted(set(numbers.tolist())) == numbers.tolist()


@pytest.mark.parametrize("place", ["in memory", "on disk", "full disk"])
def test_rows_laid_down_come_back(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(**_: Any) -> None:
        raise OSError(errno.ENOSPC, "no room")

    if place == "full disk":
        monkeypatch.setattr(tempfile, "TemporaryFile", full)
    schema = pa.schema([("number", pa.int64()), ("text", pa.string())])
    laid = LaidDown(schema, held=100 if place == "in memory" else 3)
    for start in range(0, 20, 4):
        numbers = list(range(start, start + 4))
        laid.add(pa.record_batch([numbers, [f"row {number}" for number in numbers]], schema=schema))
    wanted = [0, 3, 4, 11, 19]
    assert laid.take(np.array(wanted)).to_pylist() == [{"number": n, "text": f"row {n}"} for n in wanted]
    assert laid.take(np.zeros(0, np.int64)).num_rows == 0
    assert len(laid) == 20


def points(rows: list[tuple[str, int, float, str | None]], depth: pa.DataType) -> pa.RecordBatch:
    """Return rows of ``points``: name, seconds, easting, code; each with a depth of its easting in whole metres."""
    names, seconds, eastings, codes = zip(*rows, strict=True)
    there = {
        "name": pa.array(names),
        "observed": pa.array([1000 * second for second in seconds], TIME),
        "easting": pa.array(eastings),
        "northing": pa.array([5.0] * len(rows)),
        "height": pa.array([None] * len(rows), pa.float64()),
        "session": pa.array(["a"] * len(rows)),
        "source_file": pa.array(["one.csv"] * len(rows)),
        "code": pa.array(codes, pa.string()),
        "held": pa.array([int(easting) for easting in eastings]).cast(depth),
    }
    return pa.record_batch(there)


ROWS: list[tuple[str, int, float, str | None]] = [("P1", 1, 10.0, "A"), ("P2", 2, 20.0, None), ("P3", 3, 30.0, "C")]


def side_of(rows: list[tuple[str, int, float, str | None]], depth: pa.DataType) -> Side:
    side = Side(("code", "held"))  # the export's own column may be called as one of ours
    side.add(points(rows, depth), held=False)
    return side


def test_rows_that_both_issues_have_are_not_looked_at() -> None:
    old, new = side_of(ROWS, pa.int64()), side_of([*ROWS[:2], ("P3", 3, 30.5, "C")], pa.int64())
    before, after = differing(old, new)
    assert (before.column("easting").to_pylist(), after.column("easting").to_pylist()) == ([30.0], [30.5])


@pytest.mark.parametrize("depth", [pa.int64(), pa.string(), pa.int32()])
def test_columns_of_another_type_are_compared_as_text(depth: pa.DataType) -> None:
    """A column that one export had as numbers and another one as text is text in all."""
    old, new = side_of(ROWS, pa.int64()), side_of([ROWS[0], ("P2", 2, 20.0, "B"), ROWS[2]], depth)
    rows, counts, *_ = compare(old, new, lambda _: "why", Axes())
    assert (counts["recoded"], counts["attributes"], counts["moved"]) == (1, 1, 0)
    assert [(row["name"], row["change"], row["because"]) for row in rows.to_pylist()] == [
        ("P2", Change.RECODED, "code none to B; why")
    ]


def test_a_value_that_is_gone_is_told_from_nought() -> None:
    old, new = side_of([("P1", 1, 0.0, "")], pa.int64()), Side(("code", "held"))
    gone = points([("P1", 1, 0.0, "")], pa.int64())
    new.add(gone.set_column(gone.schema.get_field_index("held"), "held", pa.nulls(1, pa.int64())), held=False)
    _, counts, *_ = compare(old, new, lambda _: "why", Axes())
    assert counts["attributes"] == 1


def test_a_name_that_passes_to_another_point_is_told() -> None:
    """Drawings link by name: of two points of one name the earlier export's is first, also where it comes later."""
    old = side_of([("P1", 1, 10.0, "A")], pa.int64())
    new = side_of([("P1", 0, 40.0, "A"), ("P1_2", 1, 10.0, "A"), ("P4", 4, 4.0, "A")], pa.int64())
    rows, counts, *_ = compare(old, new, lambda _: "why", Axes())
    assert (counts["recoded"], counts["attributes"], counts["added"], counts["moved"]) == (1, 0, 2, 0)
    (row,) = [row for row in rows.to_pylist() if row["change"] == Change.RECODED]
    assert (row["name"], row["because"]) == ("P1_2", "name P1 to P1_2 (P1 is now another point); why")
    assert attributes_changed(counts) == ["1 point has another name"]
    rows, counts, *_ = compare(new, old, lambda _: "why", Axes())
    (row,) = [row for row in rows.to_pylist() if row["change"] == Change.RECODED]
    assert (row["name"], row["because"]) == ("P1", "name P1_2 to P1; why")


def test_a_point_has_one_row_that_says_all() -> None:
    """P1 moved and has another code, P2 another code alone, P3 moved alone."""
    sides = []
    for east, codes in (((10.0, 20.0, 30.0), "AAA"), ((12.0, 20.0, 33.0), "BBA")):
        rows = points([(f"P{n}", n, at, code) for n, at, code in zip((1, 2, 3), east, codes, strict=True)], pa.int64())
        sides.append(Side(("code",)))
        sides[-1].add(rows.set_column(rows.schema.get_field_index("height"), "height", pa.array([5.0] * 3)), held=False)
    found, counts, *_ = compare(*sides, lambda _: "why", Axes())
    assert (counts["moved"], counts["recoded"], counts["attributes"]) == (2, 2, 2)
    told = {row["name"]: (row["change"], row["d_east"], row["d_height"], row["because"]) for row in found.to_pylist()}
    assert told == {
        "P1": (Change.MOVED, 2.0, 0.0, "code A to B; why"),
        "P2": (Change.RECODED, None, None, "code A to B; why"),
        "P3": (Change.MOVED, 3.0, 0.0, "why"),
    }
