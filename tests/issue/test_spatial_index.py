"""The packed R-tree is one to SQLite: its own check, and a search against all boxes one by one."""

import sqlite3
from contextlib import closing

import numpy as np
import pytest

from pipeline.issue.geopackage.spatial_index import MOST, Boxes, Packing, outwards


def packed(boxes: np.ndarray) -> Packing:
    """Boxes taken in two pieces."""
    taken, half = Boxes(), len(boxes) // 2
    for piece in (boxes[:half], boxes[half:]):
        taken.add(piece)
    return Packing(taken)


@pytest.mark.parametrize("rows", [0, 1, 2, MOST, MOST + 1, 103, 2 * MOST + 1, MOST**2, MOST**2 + 1, 9_973])
@pytest.mark.parametrize("gaps", [0, 3])
def test_sqlite_takes_it_for_its_own(rows: int, gaps: int) -> None:
    """`rtreecheck` finds nothing; every row is found by a window, and none besides; rows can come and go after it."""
    random = np.random.default_rng(rows)
    boxes = np.repeat(random.uniform(-2e6, 6e6, (rows, 2)), 2, axis=1)
    boxes[::7, 1] += random.uniform(0, 1e5, len(boxes[::7]))
    there = np.ones(rows, bool)
    if gaps:
        there[::gaps] = False
        boxes[~there] = np.nan
    ids, boxes_there = np.flatnonzero(there) + 1, boxes[there]
    tree = packed(boxes)
    with closing(sqlite3.connect(":memory:")) as file:
        file.execute("CREATE VIRTUAL TABLE i USING rtree(id, minx, maxx, miny, maxy)")
        for numbers, blobs in tree.nodes():
            nodes = zip(numbers.tolist(), (blob.tobytes() for blob in blobs), strict=True)
            file.executemany("INSERT OR REPLACE INTO i_node VALUES (?, ?)", nodes)
        assert not tree.leaves[~there].any()
        boxes = boxes_there
        file.executemany("INSERT INTO i_parent VALUES (?, ?)", enumerate(tree.parents.tolist(), 2))
        leaves = zip(ids.tolist(), tree.leaves[there].tolist(), strict=True)
        file.executemany("INSERT INTO i_rowid VALUES (?, ?)", leaves)
        file.commit()
        assert file.execute("SELECT rtreecheck('i')").fetchone() == ("ok",)
        assert file.execute("SELECT count(*) FROM i").fetchone() == (len(ids),)
        for low_x, low_y in random.uniform(-2e6, 6e6, (20, 2)):
            window = (low_x, low_x + 5e5, low_y, low_y + 5e5)
            query = "SELECT id FROM i WHERE maxx >= ? AND minx <= ? AND maxy >= ? AND miny <= ?"
            found = {id for (id,) in file.execute(query, window)}
            within = (boxes[:, 1] >= window[0]) & (boxes[:, 0] <= window[1])
            within &= (boxes[:, 3] >= window[2]) & (boxes[:, 2] <= window[3])
            assert found >= set(ids[within].tolist())
        for id in ids[::2].tolist():
            file.execute("DELETE FROM i WHERE id = ?", (id,))
        file.executemany("INSERT INTO i VALUES (?, ?, ?, ?, ?)", [(n, n, n, n, n) for n in range(-200, 0)])
        assert file.execute("SELECT rtreecheck('i')").fetchone() == ("ok",)


def test_no_box_shrinks() -> None:
    boxes = np.random.default_rng(1).uniform(-1e7, 1e7, (1000, 2)).repeat(2, axis=1)
    found = outwards(boxes).astype(np.float64)
    assert (found[:, ::2] <= boxes[:, ::2]).all() and (found[:, 1::2] >= boxes[:, 1::2]).all()
    assert np.abs(found - boxes).max() <= 1.0  # a unit of the last place of ten million in 32 bits


def test_nine_bytes_are_kept_of_a_point_and_each_box_is_as_it_was_rounded() -> None:
    """Also of points that 32 bits hold as they are; of lines, and with lines among them, sixteen."""
    random = np.random.default_rng(2)
    points = random.uniform(-1e7, 1e7, (1000, 2))
    points[::3] = np.round(points[::3] / 8) * 8  # a float32 up to 16,777,216 holds whole numbers
    points[::50] = np.nan
    points, lines = points.repeat(2, axis=1), random.uniform(0, 1, (500, 4)).cumsum(axis=1)
    for pieces, most in (((points, points), 9), ((lines, points), 17), ((points, lines), 17)):
        kept, given = Boxes(), np.concatenate(pieces)
        for piece in pieces:
            kept.add(piece)
        assert sum(values.nbytes for values in vars(kept).values() if isinstance(values, np.ndarray)) <= most * len(
            given
        )
        np.testing.assert_array_equal(kept.of(slice(None)), outwards(given))
        np.testing.assert_array_equal(kept.of(np.arange(7, 900)), outwards(given)[7:900])
