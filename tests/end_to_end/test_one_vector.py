"""Points of one name that all lie apart by one vector: the same points measured with another base, or others."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from base_logged import SMALL
from measured_again import again, judged, moved
from running import Row, rewrite_export
from simulate import simulate

AWAY = (3.0, -0.7, 8.4)


@pytest.mark.parametrize("scatter", [0.0, 0.01])
def test_ten_points_of_another_rover_apart_by_one_vector(scatter: float, tmp_path: Path) -> None:
    job = simulate(replace(SMALL, sessions=1))
    noise = np.random.default_rng(7).normal(0.0, scatter, (10, 3))
    code, record, told = judged(again(job, tmp_path, 10, [tuple(np.array(AWAY) + one) for one in noise]))
    (doubt,) = record["doubts"]
    assert (code, doubt["kind"], record["verdict"], told) == (3, "base", "unchecked", [])
    assert any("10 names in doubt" in note and "distinguished by a number" in note for note in record["notes"])
    what = doubt["what"]
    assert "10 points of rover002.csv have names of points of rover001.csv and lie 3.1 m from those" in what
    figures = [float(part.split(" m ")[0]) for part in what.split("all by one vector: ")[1].split(", ")[:3]]
    assert figures == pytest.approx(AWAY, abs=0.02)


def test_four_points_are_a_note(tmp_path: Path) -> None:
    code, record, told = judged(again(simulate(replace(SMALL, sessions=1)), tmp_path, 4, [AWAY] * 4))
    assert (code, record["doubts"], len(told)) == (0, [], 1) and "4 points of rover002.csv" in told[0]


def test_numbers_used_twice_by_chance_scatter(tmp_path: Path) -> None:
    places = [tuple(one) for one in np.random.default_rng(3).uniform(5.0, 90.0, (10, 3)) * [1, 1, 0.05]]
    code, record, told = judged(again(simulate(replace(SMALL, sessions=1)), tmp_path, 10, places))
    assert (code, record["doubts"], len(told)) == (0, [], 1)
    assert "two rovers may have counted from the same number" in told[0]


@pytest.mark.parametrize("row", [False, True], ids=["a grid", "a line"])
def test_piles_in_rows_that_are_numbered_alike_are_no_doubt(row: bool, tmp_path: Path) -> None:
    """The second rover measured the next row: to the millimetre one vector away, as all piles of a plan are."""
    job = simulate(replace(SMALL, sessions=1))
    path = again(job, tmp_path, 10, [(0.0, 0.0, 0.0)] * 10)
    names = [line.split(",")[0] for line in (tmp_path / "rover002.csv").read_text(encoding="utf-8").splitlines()[1:]]
    heading, line, *_ = (tmp_path / "rover002.csv").read_text(encoding="utf-8").splitlines()
    first = dict(zip(heading.split(","), line.split(","), strict=True))

    def laid(*away: float) -> Callable[[Row], Row]:
        def change(one: Row) -> Row:
            if one["Point"] not in names:
                return one
            number = names.index(one["Point"])
            east, north = (4.0 * number, 0.0) if row else (4.0 * (number % 5), 6.0 * (number // 5))
            place = {name: first[name] for name in ("Lon", "Lat", "EllHt")}
            return moved(job, one | place, east + away[0], north + away[1], away[2])

        return change

    rewrite_export(tmp_path / "rover001.csv", laid(0.0, 0.0, 0.0))
    rewrite_export(tmp_path / "rover002.csv", laid(0.0, 18.0, 0.1))
    _, record, told = judged(path)
    assert "base" not in [one["kind"] for one in record["doubts"]]
    assert any("all by one vector" in one for one in told)


def test_two_edges_of_a_road_with_the_same_names_whose_rovers_are_both_checked(tmp_path: Path) -> None:
    """Each was on marks, so that none hangs on another base: what lies 7 m away is the other kerb."""
    job = simulate(replace(SMALL, sessions=1))
    path = again(job, tmp_path, 10, [(-3.6, 6.0, 0.0)] * 10)
    first, second = (tmp_path / f"rover00{number}.csv" for number in (1, 2))
    heading, *lines = first.read_text(encoding="utf-8").splitlines()
    checks = [line for line in lines if "-C" in line.split(",")[0]]
    own = checks[-1]
    first.write_text("\n".join([heading, *(line for line in lines if line != own), ""]), encoding="utf-8")
    second.write_text(second.read_text(encoding="utf-8") + own + "\n", encoding="utf-8")
    code, record, told = judged(path)
    assert (code, record["doubts"]) == (0, []) and len(checks) > 1
    assert "all by one vector" in told[0] and "distinguished by a number after the name" in told[0]
