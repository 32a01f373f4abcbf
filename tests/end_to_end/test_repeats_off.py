"""Points measured twice that all differ by one vector, nearer than what is taken for two points."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from base_logged import SMALL
from measured_again import again, judged, moved
from running import Row, rewrite_export
from simulate import Simulation, simulate

Vector = tuple[float, float, float]


def on_mark(row: Row) -> bool:
    return "-T" in row["Point"] or "-C" in row["Point"]


def own_check(folder: Path, path: Path) -> Path:
    """Give the last check of the first rover to the second one."""
    first, second = (folder / f"rover00{number}.csv" for number in (1, 2))
    heading, *lines = first.read_text(encoding="utf-8").splitlines()
    own = [line for line in lines if "-C" in line.split(",")[0]][-1]
    first.write_text("\n".join([heading, *(line for line in lines if line != own), ""]), encoding="utf-8")
    second.write_text(second.read_text(encoding="utf-8") + own + "\n", encoding="utf-8")
    return path


def one_rover(job: Simulation, folder: Path, vector: list[Vector], *, within: str, turns: bool = False) -> Path:
    """The rover measures its first points once more at its day's end, a mark occupied ``within`` both stretches or not.

    With ``turns`` each point is measured twice at once.
    """
    path = job.write(folder)
    export = folder / "rover001.csv"
    heading, *lines = export.read_text(encoding="utf-8").splitlines()
    names = heading.split(",")
    rows = [dict(zip(names, line.split(","), strict=True)) for line in lines]
    points = [row for row in rows if not on_mark(row)]
    some = points[: len(vector)]
    closing = [row for row in rows if "-C" in row["Point"]][-1]
    last = np.datetime64(points[-1]["Observed"].rstrip("Z"))
    for number, (row, away) in enumerate(zip(some, vector, strict=True)):
        time = np.datetime64(row["Observed"].rstrip("Z")) if turns else last + np.timedelta64(30 * number, "s")
        rows.append(moved(job, row, *away) | {"Observed": f"{time + np.timedelta64(7, 's')}Z"})
    if within:
        closing["Observed"] = f"{last + np.timedelta64(75, 's')}Z"
        first = np.datetime64(some[2]["Observed"].rstrip("Z")) + np.timedelta64(3, "s")
        opening = next(row for row in rows if "-T" in row["Point"])
        opening["Observed"] = f"{first}Z"
    rows.sort(key=lambda row: row["Observed"])
    export.write_text("\n".join([heading, *(",".join(row.values()) for row in rows), ""]), encoding="utf-8")
    return path


@pytest.mark.parametrize("vector", [(0.88, -0.62, 0.01), (0.0, 0.0, 0.2), (0.06, 0.0, 0.0)])
def test_points_of_another_rover_that_stood_on_no_mark(vector: Vector, tmp_path: Path) -> None:
    noise = np.random.default_rng(5).normal(0.0, 0.006, (10, 3))
    path = again(simulate(replace(SMALL, sessions=1)), tmp_path, 10, [tuple(np.array(vector) + one) for one in noise])
    code, record, told = judged(path)
    (doubt,) = record["doubts"]
    assert (code, doubt["kind"], record["verdict"], told) == (3, "base", "unchecked", [])
    assert "10 points measured twice in rover001.csv and rover002.csv all differ by one vector" in doubt["what"]
    figures = [
        float(part.split(" m ")[0].split(" ")[-1]) for part in doubt["what"].split(" they lie ")[1].split(" m")[:3]
    ]
    assert figures == pytest.approx(vector, abs=0.012)
    assert not any("differ by the same vector" in note for note in record["notes"])


@pytest.mark.parametrize(
    "vector",
    [[(0.02, 0.0, 0.03)] * 10, [(0.9, 0.2, 0.0)] * 4, [(0.1 * n, 0.9 - 0.1 * n, 0.1) for n in range(10)]],
    ids=["within the tolerance", "four points", "stakes moved one by one"],
)
def test_what_is_no_doubt(vector: list[Vector], tmp_path: Path) -> None:
    path = again(simulate(replace(SMALL, sessions=1)), tmp_path, len(vector), vector)
    code, record, _ = judged(path)
    assert (code, record["doubts"]) == (0, [])


def test_two_rovers_that_both_stood_on_marks_are_no_doubt(tmp_path: Path) -> None:
    path = again(simulate(replace(SMALL, sessions=1)), tmp_path, 10, [(0.5, 0.0, 0.0)] * 10)
    _, record, _ = judged(own_check(tmp_path, path))
    assert record["doubts"] == []


def two_days(folder: Path, moves: list[Vector]) -> Path:
    """The points of the first day's beginning are measured again on the second one, where each has moved."""
    job = simulate(replace(SMALL, sessions=2))
    path = job.write(folder)
    heading, *lines = (folder / "rover001.csv").read_text(encoding="utf-8").splitlines()
    rows = [dict(zip(heading.split(","), line.split(","), strict=True)) for line in lines]
    night = np.datetime64(rows[0]["Observed"].rstrip("Z")) + np.timedelta64(16, "h")
    points = [row for row in rows if np.datetime64(row["Observed"].rstrip("Z")) < night and not on_mark(row)]
    there = iter(zip(points, moves, strict=False))

    def change(row: Row) -> Row:
        if on_mark(row) or np.datetime64(row["Observed"].rstrip("Z")) < night:
            return row
        one, by = next(there, (None, (0.0, 0.0, 0.0)))
        if one is None:
            return row
        place = {name: one[name] for name in ("Point", "Lon", "Lat", "EllHt")}
        return moved(job, row | place, *(job.shift_enu(0) - job.shift_enu(1) + by))

    rewrite_export(folder / "rover001.csv", change)
    return path


def test_two_days_with_marks_of_their_own_may_have_the_ground_moved(tmp_path: Path) -> None:
    """A fill that settles: the checks of both days pass, and all its points sink by one vector."""
    _, record, _ = judged(two_days(tmp_path, [(0.0, 0.0, -0.3)] * 10))
    assert (record["doubts"], record["repeats"]["failed"]) == ([], 10)


@pytest.mark.parametrize(("sinks", "told"), [(0.085, True), (0.03, False)])
def test_days_that_differ_by_less_than_a_pair_may_do_by_chance(sinks: float, told: bool, tmp_path: Path) -> None:
    """Of thirty pairs one may be off by more; that half of them are off by as much on one side is no chance."""
    noise = np.random.default_rng(3).normal(0.0, (0.006, 0.006, 0.012), (30, 3)) - [0.0, 0.0, sinks]
    _, record, _ = judged(two_days(tmp_path, [tuple(one) for one in noise]))
    assert record["repeats"]["failed"] < 10
    assert [("all differ by the same vector" in note) for note in record["notes"]].count(True) == told


@pytest.mark.parametrize(("within", "turns", "doubts"), [("", False, ["base"]), ("both", False, []), ("", True, [])])
def test_one_rover_with_another_pole_height_in_the_afternoon(
    within: str, turns: bool, doubts: list[str], tmp_path: Path
) -> None:
    """Its checks were made with the right one. With a mark occupied among the points, or in turns, it is no doubt."""
    job = simulate(replace(SMALL, sessions=1))
    path = one_rover(job, tmp_path, [(0.0, 0.0, 0.2)] * 8, within=within, turns=turns)
    _, record, _ = judged(path)
    assert [one["kind"] for one in record["doubts"]] == doubts
