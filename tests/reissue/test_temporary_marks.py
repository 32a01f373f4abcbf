"""A temporary mark that moved between two issues is told, also where no point did: the field has its place."""

from pathlib import Path
from typing import Any

import pytest
from running import rewrite_export
from second_issues import rows_of
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.between import between
from pipeline.geodesy.axes import Axes, Axis
from pipeline.issue.change_summary import change_message
from pipeline.reissue.temporary_marks import temporary_marks

FEET = Axes(Axis("foot", 0.3048, "east"), Axis("foot", 0.3048, "north"), Axis("foot", 0.3048, "up"))
PLACE = {"easting": 1000.0, "northing": 2000.0, "height": 30.0}


def mark(name: str, status: str = "adjusted", **off: float) -> Any:
    place = {axis: value + off.get(axis, 0.0) for axis, value in PLACE.items()}
    return {"mark": name, "status": status, **place}


def test_a_mark_that_moved_is_told_in_plan_and_in_height() -> None:
    """The 3-4-5 triangle."""
    was, now = [mark("TM1"), mark("TM2")], [mark("TM2"), mark("TM1", easting=0.03, northing=-0.04, height=-0.006)]
    assert temporary_marks(was, now, Axes()) == ["1 temporary mark moved: TM1 (0.050 m in plan, 0.006 m in height)"]
    told = temporary_marks(was, now, FEET)
    assert told == ["1 temporary mark moved: TM1 (0.015 m in plan, 0.002 m in height)"]


def test_a_mark_without_a_height() -> None:
    was, now = mark("TM1"), mark("TM1", easting=0.03)
    was["height"] = now["height"] = None
    assert temporary_marks([was], [now], Axes()) == ["1 temporary mark moved: TM1 (0.030 m in plan)"]


def test_a_mark_that_is_gone_is_told() -> None:
    was = [mark("TM1"), mark("TM2"), mark("TM3")]
    assert temporary_marks(was, [mark("TM2")], Axes()) == ["2 temporary marks are gone: TM1, TM3"]


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ([mark("TM1")], [mark("TM1", easting=0.0004)]),  # no millimetre
        ([mark("TM1")], [mark("tm1")]),
        ([], [mark("TM1")]),
        ([mark("CM1", "constrained")], []),  # the register tells of its own marks
        ([mark("CM1", "constrained")], [mark("CM1", "constrained", height=0.1)]),
        ([mark("TM1")], [mark("TM1", "constrained", height=0.1)]),
    ],
)
def test_what_is_no_move_of_a_temporary_mark(was: list[Any], now: list[Any]) -> None:
    assert temporary_marks(was, now, Axes()) == []


def test_a_register_revised_by_two_centimetres_moves_the_temporary_mark(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=2, points=4, noise=False, temporary=True)).write(tmp_path)
    first = run_job(path)
    register = tmp_path / "register.csv"
    rewrite_export(register, lambda row: row | {"northing": f"{float(row['northing']) + 0.02:.5f}"})
    second = run_job(path)
    (was,), (now,) = (
        [row for row in rows_of(one, "marks") if row["mark"] == "TM1" and row["status"] == "adjusted"]
        for one in (first, second)
    )
    assert now["northing"] - was["northing"] == pytest.approx(0.02, abs=1e-4)
    said = "1 temporary mark moved: TM1 (0.020 m in plan, 0.000 m in height)"
    assert change_message(second.record)[-1].endswith(f"; {said}")
    assert said in between(path, 1, 2).because and said in between(path, 2, 1).because


def test_more_points_of_the_same_day_move_no_mark(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=2, points=4, noise=False, temporary=True)).write(tmp_path)
    run_job(path)
    rewrite_export(
        tmp_path / "rover001.csv", lambda row: row | ({"Code": "TREE"} if row["Point"] == "S01-00001" else {})
    )
    changes = run_job(path).record["changes"]
    assert changes is not None and not any("temporary" in one for one in changes["because"])
