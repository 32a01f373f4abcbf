"""Points of two issues known again: by which names, and where name, time or reading is another one than before."""

from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from every import every
from running import append_rows, csv_rows, rewrite_export
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.between import between
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


def test_numbers_that_the_field_gave_are_names() -> None:
    """A_1 was measured by mistake and A_3 at the same time: one receiver logged for two, 50 m apart."""
    old, new = side_of(("A_1", 1, 0.0, 0.0, 5.0)), side_of(("A_3", 1, 50.0, 0.0, 6.0))
    assert told(old, new) == {("A_1", "withdrawn"), ("A_3", "added")}
    held = side_of(("A_3", 1, 50.0, 0.0, 6.0, "not_fixed"))
    assert told(old, held) == {("A_1", "withdrawn")} and told(held, old) == {("A_1", "added")}


def test_the_field_s_own_numbers_beside_the_name_without_one() -> None:
    """P is a point too, whose number 1 nobody but the field gave; what is drawn as P_2 may be P as well."""
    post = ("P", 1, 0.0, 0.0, 5.0)
    old, new = side_of(post, ("P_1", 9, 80.0, 0.0, 5.0)), side_of(post, ("P_01", 9, 20.0, 0.0, 5.0))
    assert told(old, new) == {("P_1", "withdrawn"), ("P_01", "added")}
    twice = side_of(post, ("P_2", 9, 80.0, 0.0, 5.0))
    assert told(twice, side_of(("P", 9, 80.0, 0.0, 5.0))) == {("P", "withdrawn"), ("P", "recoded")}


FIRST, SECOND, THIRD = ("P3", 1, 10.0, 20.0, 5.0), ("P3", 2, 10.01, 20.0, 5.02), ("P3", 3, 10.03, 20.0, 5.01)


def given_way(*rows: Row) -> list[Row]:
    """Return readings that gave way to another of their point."""
    return [(*row, "duplicate") for row in rows]


def test_a_point_that_another_reading_stands_for_moved() -> None:
    """P3 is measured a second and a third time, and the last reading is issued."""
    sides = [side_of(FIRST), side_of(SECOND, *given_way(FIRST)), side_of(THIRD, *given_way(FIRST, SECOND))]
    for one in range(3):
        for other in range(3):
            if one != other:
                (row,) = compare(sides[one], sides[other], lambda _: "why", Axes())[0].to_pylist()
                readings = (FIRST, SECOND, THIRD)
                assert (row["name"], row["change"]) == ("P3", "moved")
                assert row["d_east"] == pytest.approx(readings[other][2] - readings[one][2], abs=1e-9)
                assert row["d_height"] == pytest.approx(readings[other][4] - readings[one][4], abs=1e-9)


def apart(*rows: Row) -> list[Row]:
    """Return readings of one name as points of their own: all but the first get a number."""
    return [(f"{row[0]}_{number}" if number > 1 else row[0], *row[1:]) for number, row in enumerate(rows, 1)]


@pytest.mark.parametrize("count", [2, 3])
def test_a_point_keeps_its_row_where_its_readings_become_one_or_points_of_their_own(count: int) -> None:
    """Each reading was a point, and the mean is issued now; it has the time of the last, and the name of the first."""
    readings = [FIRST, SECOND, THIRD][:count]
    mean = ("P3", readings[-1][1], 10.02, 20.0, 5.01)
    every, one = side_of(*apart(*readings)), side_of(mean, *given_way(*readings[:-1]))
    numbered = {f"P3_{number}" for number in range(2, count + 1)}
    for old, new, east, change in ((every, one, 0.02, "held"), (one, every, -0.02, "released")):
        rows = {row["name"]: row for row in compare(old, new, lambda _: "why", Axes())[0].to_pylist()}
        assert len(rows) == count and {name: row["change"] for name, row in rows.items()} == {
            "P3": "moved", **dict.fromkeys(numbered, change)
        }  # fmt: skip
        assert rows["P3"]["d_east"] == pytest.approx(east, abs=1e-9) and rows["P3"]["because"] == "why"


def test_a_point_keeps_its_row_where_an_export_with_a_reading_of_it_goes_or_comes() -> None:
    two, one = side_of(*apart(FIRST, SECOND)), side_of(SECOND)
    assert told(two, one) == {("P3", "moved"), ("P3_2", "withdrawn")}
    assert told(one, two) == {("P3", "moved"), ("P3_2", "added")}


def test_what_the_field_renamed_beside_a_point_that_is_gone_keeps_the_row_of_its_time() -> None:
    old, new = side_of(FIRST, ("Q5", *SECOND[1:])), side_of(SECOND)
    assert told(old, new) == {("P3", "withdrawn"), ("P3", "recoded")}


def test_another_point_of_the_name_is_none_of_its_readings() -> None:
    """The reading gave way to P3-again beside it; P3 is a new point a long way off."""
    old = side_of(FIRST)
    new = side_of(("P3-again", 2, 10.0, 20.0, 5.0), ("P3", 9, 400.0, 20.0, 5.0), *given_way(FIRST))
    assert told(old, new) == {("P3", "held"), ("P3", "added"), ("P3-again", "added")}


def test_a_reading_that_is_held_back_for_itself_takes_no_place() -> None:
    old, new = side_of(FIRST), side_of(SECOND, (*FIRST, "not_fixed"))
    assert told(old, new) == {("P3", "held"), ("P3", "added")}


@pytest.mark.parametrize("repeats", ["last", "mean"])
def test_a_reading_more_moves_the_point(repeats: str, tmp_path: Path) -> None:
    """A later reading lies 9 mm higher: the last moves the point by that, the mean by its part, both without noise."""
    job = simulate(Plan(sessions=1, points=6, noise=False))
    job.job["issue"] = {"repeats": repeats}
    path = job.write(tmp_path)
    run_job(path)
    export = tmp_path / "rover001.csv"
    rows = [row for row in csv_rows(export) if row["Code"] not in ("CM", "CHK")]
    again = {
        **rows[1],
        "Observed": rows[1]["Observed"].replace("Z", ".5Z"),
        "EllHt": str(float(rows[1]["EllHt"]) + 0.009),
    }
    append_rows(export, [again])
    changes = run_job(path).record["changes"]
    assert changes is not None
    assert [changes[kind] for kind in ("moved", "added", "held", "withdrawn")] == [1, 0, 0, 0]
    assert changes["max_vertical"] == pytest.approx(0.009 if repeats == "last" else 0.0045, abs=2e-4)


def at(seconds: float, *rows: Row, east: float = 0.0) -> list[Row]:
    """Return rows as another export has them: so much later, and their places so far to the east."""
    return [(row[0], row[1] + seconds, row[2] + east, *row[3:]) for row in rows]


TREES = [(f"T{number}", 40 * number, 30.0 * number, 7.0 * number**2, 5.0) for number in range(1, 6)]


@pytest.mark.parametrize("seconds", [0.4, -18.0, 3600.0])
@pytest.mark.parametrize("east", [0.0, -0.010, 12.5])
def test_points_exported_again_at_other_times(seconds: float, east: float) -> None:
    """Fractions of a second, GPS time for UTC, summer time; a mark was put right meanwhile by 1 cm or by metres."""
    rows, counts, _, retimed = compare(
        side_of(*TREES), side_of(*at(seconds, *TREES, east=east)), lambda _: "why", Axes()
    )
    assert retimed == len(TREES) and counts["added"] == counts["withdrawn"] == 0
    assert {row["change"] for row in rows.to_pylist()} == ({"moved"} if east else set())
    assert counts["moved"] == (len(TREES) if east else 0)
    assert all(row["d_east"] == pytest.approx(east, abs=1e-9) for row in every(rows.to_pylist(), n=counts["moved"]))


def test_a_name_given_to_another_point_later_is_another_point() -> None:
    """T2 was deleted; what is measured as T2 the day after stands elsewhere, and so does what came of a new survey."""
    old = side_of(*TREES)
    new = side_of(TREES[0], ("T2", 86_400, 300.0, 7.0, 5.0), *TREES[2:])
    assert told(old, new) == {("T2", "withdrawn"), ("T2", "added")}
    other = [(name, 86_400 + time, north, 50.0 - east, height) for name, time, east, north, height in TREES]
    assert told(old, side_of(*other)) == {(name, how) for name, *_ in TREES for how in ("withdrawn", "added")}


def test_at_other_times_held_back_and_released() -> None:
    old, new = side_of(*TREES), side_of(*at(0.4, *TREES[:4]), *[(*row, "not_fixed") for row in at(0.4, TREES[4])])
    assert told(old, new) == {("T5", "held")} and told(new, old) == {("T5", "released")}


def test_other_times_are_told(tmp_path: Path) -> None:
    """The office's export writes fractions of a second, which the field's had cut off."""
    path = simulate(Plan(sessions=2, points=8)).write(tmp_path)
    run_job(path)
    export = tmp_path / "rover001.csv"
    rewrite_export(export, lambda row: {**row, "Observed": row["Observed"].replace("Z", ".400Z")})
    changes = run_job(path).record["changes"]
    assert changes is not None
    assert [changes[kind] for kind in ("moved", "added", "withdrawn", "held")] == [0, 0, 0, 0]
    assert any(text.startswith("16 points known again by name and place: their times") for text in changes["because"])
    found = between(path, 1, 2)
    assert found.rows.num_rows == 0 and any("their times differ from issue 001" in text for text in found.because)


def test_nothing_but_new_points_or_none_any_more() -> None:
    assert told(side_of(*TREES[:4]), side_of(*TREES)) == {("T5", "added")}
    assert told(side_of(*TREES), side_of(*TREES[:4])) == {("T5", "withdrawn")}
    assert told(side_of(), side_of(TREES[0])) == {("T1", "added")} and told(side_of(), side_of()) == set()
