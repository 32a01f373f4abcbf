"""Points of two issues known again: by which names, and where name, time or reading is another one than before."""

from typing import Any

import pyarrow as pa

from pipeline.geodesy.axes import Axes
from pipeline.reissue.changes import compare
from pipeline.reissue.side import COMPARED, Side
from pipeline.tables import TIME

#: Name, seconds, easting, northing, height: a point; with a reason behind: a row that is held back.
Row = tuple[Any, ...]
_KINDS = {"name": pa.string(), "observed": TIME, "session": pa.string(), "source_file": pa.string()}


def side_of(*rows: Row) -> Side:
    """Return the rows of one issue: what it drew under the names it gave, what it held back under those exported."""
    side = Side()
    for held in (False, True):
        of_kind = [row for row in rows if (len(row) > 5) is held]
        columns = {
            **dict(
                zip(("name", "observed", "easting", "northing", "height"), zip(*of_kind, strict=False), strict=False)
            ),
            "session": ["day"] * len(of_kind),
            "source_file": ["rover.csv"] * len(of_kind),
        }
        if of_kind:
            columns["observed"] = [round(1000 * seconds) for seconds in columns["observed"]]
            given = {name: pa.array(columns[name], _KINDS.get(name, pa.float64())) for name in COMPARED}
            if held:
                given["reason"] = pa.array([row[5] for row in of_kind], pa.string())
            side.add(pa.RecordBatch.from_pydict(given), held)
    return side


def told(old: Side, new: Side) -> set[tuple[str, str]]:
    """Return what changed: each point's name in the layer, and the change."""
    return {(row["name"], row["change"]) for row in compare(old, new, lambda _: "why", Axes())[0].to_pylist()}


def test_a_point_that_is_held_back_is_called_as_it_was_drawn() -> None:
    """Two posts are both called dup by the export; the drawing has dup and dup_2, and the second is a float now."""
    old = side_of(("dup", 1, 0.0, 0.0, 5.0), ("dup_2", 2, 100.0, 0.0, 5.0))
    new = side_of(("dup", 1, 0.0, 0.0, 5.0), ("dup", 2, 100.0, 0.0, 5.0, "not_fixed"))
    assert told(old, new) == {("dup_2", "held")}
    assert told(new, old) == {("dup_2", "released")}
