"""Lines that take another way between two issues are told; what their points do is told by the points alone."""

from collections.abc import Sequence
from pathlib import Path

import ezdxf
import numpy as np
import pyarrow as pa
import pytest
from running import csv_rows, replace_in, rewrite_export
from second_issues import rows_of
from simulate import Plan, Simulation, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.between import between
from pipeline.cli.main import app
from pipeline.geodesy.axes import Axes
from pipeline.issue.change_summary import change_message
from pipeline.issue.geopackage.layers import CHANGES, GEOMETRY, LINES, wkb_lines, wkb_strings
from pipeline.reissue.kept_lines import KeptLines
from pipeline.reissue.line_changes import line_changes
from pipeline.run.outcome import Outcome

#: Places along a street, 10 m apart: the k-th point of a line.
STREET = [(500_000.0 + 10 * k, 5_000_000.0, 40.0) for k in range(12)]
Place = tuple[float, float, float]
Given = tuple[str, Sequence[int | Place], bool]


def kept(*given: Given) -> KeptLines:
    """Lines by name, numbers of places (or these themselves), and whether they are closed."""
    rows = []
    for name, points, closed in given:
        way = [STREET[point] if isinstance(point, int) else point for point in points]
        way += way[:1] if closed else []
        (shape,) = wkb_strings(np.array(way), np.array([len(way)])).to_pylist()
        length = float(np.hypot(*np.diff(np.array(way)[:, :2], axis=0).T).sum())
        rows.append({"name": name, "closed": closed, "points": len(points), "length": length, GEOMETRY: shape})
    return KeptLines.of([pa.RecordBatch.from_pylist(rows, LINES)])


def changed(*given: tuple[str, Place, Place]) -> pa.RecordBatch:
    """Rows of the layer ``changes``: what became of a point, where it lay, and where it lies."""
    shapes = wkb_lines(*(np.array([one[end] for one in given]).reshape(-1, 3) for end in (1, 2))).to_pylist()
    rows = [{"change": one[0], GEOMETRY: shape} for one, shape in zip(given, shapes, strict=True)]
    return pa.RecordBatch.from_pylist(rows, CHANGES)


def told(was: KeptLines, now: KeptLines, rows: pa.RecordBatch | None = None) -> list[str]:
    return line_changes(was, now, changed() if rows is None else rows, Axes())


LINE: Given = ("KERB", (0, 1, 2, 3), False)


def test_the_same_lines_in_another_order_of_rows_are_no_change() -> None:
    other: Given = ("FENCE", (4, 5, 6), True)
    assert told(kept(LINE, other), kept(other, LINE)) == []
    assert told(KeptLines(), KeptLines()) == []


@pytest.mark.parametrize(
    ("now", "what"),
    [
        # 0-2-1-3: 20 + 10 + 20 m
        (("KERB", (0, 2, 1, 3), False), "30.0 to 50.0 m, its points in another order"),
        (("KERB", (0, 1, 2, 3), True), "30.0 to 60.0 m, closed now"),
        (("KERB", (0, 1, 3), False), "30.0 m, 1 point fewer"),
        (("KERB", (0, 1, 2, 3, 4, 5), False), "30.0 to 50.0 m, 2 points more"),
        (("WALL", (0, 1, 2, 3), False), "30.0 m, called WALL now"),
    ],
)
def test_another_way_is_told_with_what_is_other(now: Given, what: str) -> None:
    assert told(kept(LINE), kept(now)) == [f"1 line changed: KERB ({what})"]


def test_lines_that_are_parted_joined_gone_and_new() -> None:
    halves: list[Given] = [("KERB", (0, 1), False), ("KERB", (2, 3), False)]
    assert told(kept(LINE), kept(*halves)) == ["1 line changed: KERB (30.0 m, 2 lines now)"]
    assert told(kept(*halves), kept(LINE)) == ["1 line changed: KERB (30.0 m, 2 lines before)"]
    assert told(kept(LINE), KeptLines()) == ["1 line is gone: KERB (30.0 m)"]
    several: list[Given] = [(f"WALL {k}", (k, k + 1), False) for k in range(6)]
    (said,) = told(KeptLines(), kept(*several))
    assert said.startswith("6 lines are new: WALL 0 (10.0 m), ") and said.endswith(" and 2 more")


def test_lines_that_share_a_corner_are_told_apart() -> None:
    """Two lines meet in a point; one of them takes its own points in another order."""
    was = kept(("KERB", (0, 1, 2, 3), False), ("WALL", (3, 4, 5), False))
    now = kept(("KERB", (0, 2, 1, 3), False), ("WALL", (3, 4, 5), False))
    assert told(was, now) == ["1 line changed: KERB (30.0 to 50.0 m, its points in another order)"]


def test_points_that_moved_came_or_went_are_no_change_of_their_line() -> None:
    moved = (STREET[1][0] + 0.02, STREET[1][1] - 0.03, 40.01)
    was = kept(("KERB", (0, 1, 2, 3), False), ("POND", (4, 5, 6, 7), True))
    now = kept(("KERB", (0, moved, 3, 9), False), ("POND", (5, 6, 7), True))  # closed at its second point now
    rows = changed(("moved", STREET[1], moved), ("withdrawn", STREET[2], STREET[2]), ("added", STREET[9], STREET[9]),
                   ("held", STREET[4], STREET[4]))  # fmt: skip
    assert told(was, now, rows) == []
    assert told(kept(LINE), KeptLines(), changed(*(("withdrawn", place, place) for place in STREET[:4]))) == []
    assert told(KeptLines(), kept(LINE), changed(*(("released", place, place) for place in STREET[:4]))) == []


def test_an_order_is_told_though_all_points_moved() -> None:
    there = [(east + 0.02, north, height) for east, north, height in STREET]
    rows = changed(*(("moved", one, other) for one, other in zip(STREET, there, strict=True)))
    assert told(kept(LINE), kept(("KERB", there[:4], False)), rows) == []
    (said,) = told(kept(LINE), kept(("KERB", [there[k] for k in (0, 2, 1, 3)], False)), rows)
    assert said == "1 line changed: KERB (30.0 to 50.0 m, its points in another order)"


@pytest.mark.parametrize("off", [-9e-5, -1e-9, 1e-9, 9e-5])
def test_what_is_no_move_of_a_point_is_no_change_of_a_line(off: float) -> None:
    """What the layer ``changes`` does not list as moved, less than a tenth of a millimetre, lies where it lay."""
    there = [(east + off, north - off, height + off) for east, north, height in STREET]
    assert told(kept(LINE), kept(("KERB", there[:4], False))) == []


def test_two_points_at_one_place() -> None:
    """A point measured twice at one place, both in the line, of which one is held back now: the points tell that."""
    was, now = kept(("KERB", (0, 1, 1, 2), False)), kept(("KERB", (0, 1, 1, 2), False), ("WALL", (1, 2, 3), False))
    assert told(was, now, changed(("withdrawn", STREET[1], STREET[1]))) == ["1 line is new: WALL (20.0 m)"]


CODES = ["KERB start", "KERB", "KERB", "KERB", "KERB end", "TREE"]


def strings(**plan: object) -> Simulation:
    """A job whose first points make a line."""
    made = simulate(Plan(sessions=1, points=len(CODES), noise=False, **plan))  # type: ignore[arg-type]
    own = made.rows["code"].astype("<U30").copy()
    own[made.rows["kind"] == "point"] = CODES
    made.rows["code"] = own
    made.job["linework"] = {"codes": ["KERB"]}
    made.job["issue"] = {"formats": ["dxf"]}
    return made


def swapped(path: Path) -> Outcome:
    """Run a job whose second and third vertex swapped their times."""
    export = path.parent / "rover001.csv"
    times = {row["Point"]: row["Observed"] for row in csv_rows(export)}
    other = times | {"S01-00002": times["S01-00003"], "S01-00003": times["S01-00002"]}
    rewrite_export(export, lambda row: row | {"Observed": other[row["Point"]]})
    return run_job(path)


def notes_of(outcome: Outcome) -> str:
    """Return what the title of an issue's drawing says."""
    assert outcome.folder is not None
    (drawing,) = outcome.folder.glob("*-[0-9]*.dxf")
    return "\n".join(entity.text for entity in ezdxf.readfile(drawing).modelspace().query("MTEXT"))  # type: ignore[attr-defined]


def test_a_swap_of_times_is_told_by_run_record_drawing_report_and_history(tmp_path: Path) -> None:
    path = strings().write(tmp_path)
    run_job(path)
    second = swapped(path)
    lengths = [f"{rows_of(tmp_path / 'out' / 'issues' / f'{k:03d}', 'lines')[0]['length']:.1f}" for k in (1, 2)]
    assert lengths[0] != lengths[1]
    said = f"1 line changed: KERB ({lengths[0]} to {lengths[1]} m, its points in another order)"
    changes = second.record["changes"]
    assert changes is not None and said in changes["because"] and not rows_of(second.folder, "changes")
    *why, counts = change_message(second.record)
    assert counts == f"since issue 001: no point changed; {said}" and f"because {said}" not in why
    assert second.folder is not None and said in next(second.folder.glob("*-002.html")).read_text("utf-8")
    assert said in notes_of(second)
    listed = CliRunner().invoke(app, ["history", str(path)]).output
    assert f"\n  since issue 001: no point changed; {said}\n" in listed
    found = between(path, 1, 2)
    assert said in found.because and found.without_effect == ()
    output = CliRunner().invoke(app, ["history", str(path), "--between", "1", "2"]).output
    assert output.startswith(f"from issue 001 to issue 002: no point changed; {said}\n")
    back = f"1 line changed: KERB ({lengths[1]} to {lengths[0]} m, its points in another order)"
    because = between(path, 2, 1).because
    assert back in because and not any(said in reason for reason in because)


def test_a_line_that_is_closed_now_is_told(tmp_path: Path) -> None:
    path = strings().write(tmp_path)
    run_job(path)
    replace_in(tmp_path / "rover001.csv", {"KERB end": "KERB close"})
    changes = run_job(path).record["changes"]
    assert changes is not None
    (said,) = [reason for reason in changes["because"] if "line" in reason and "KERB" in reason and "now" in reason]
    assert said.startswith("1 line changed: KERB (") and said.endswith(" m, closed now)")


@pytest.mark.parametrize("sessions", [1, 2])
def test_a_register_that_moves_every_point_tells_no_line(tmp_path: Path, sessions: int) -> None:
    made = simulate(Plan(sessions=sessions, points=6 * sessions, noise=False))
    own = made.rows["code"].astype("<U30").copy()
    own[made.rows["kind"] == "point"] = np.resize(CODES, int((made.rows["kind"] == "point").sum()))
    made.rows["code"] = own
    made.job["linework"] = {"codes": ["KERB"]}
    path = made.write(tmp_path)
    run_job(path)
    made.mistype("CM1", "height", 0.006)
    made.write(tmp_path)
    changes = run_job(path).record["changes"]
    assert changes is not None and changes["moved"] and not any("line" in one for one in changes["because"])


def test_rows_that_are_written_in_another_order_tell_no_line(tmp_path: Path) -> None:
    path = strings().write(tmp_path)
    run_job(path)
    export = tmp_path / "rover001.csv"
    head, *rows = export.read_text("utf-8").splitlines(keepends=True)
    export.write_text("".join([head, *reversed(rows)]), "utf-8")
    changes = run_job(path).record["changes"]
    assert changes is not None and not any("KERB" in one for one in changes["because"])
