"""A point measured on two days, of which one fails: what waits for a hand, and what the point is called."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from issued import current_issue, read_layer
from network_jobs import Network
from repeated_days import days, reading
from running import replace_in
from simulate_files import write_register

from pipeline import Outcome, run_job
from pipeline.issue.release import waits_for

#: Eight points, of which the first day has every reading 12 mm to the east of the second's, or to the west.
NAMES, OFF = [f"P{number}" for number in range(1, 9)], (0.012, 0.0, 0.0)


def work_of(tied: Mapping[int, str] | None = None, **issue: Any) -> Network:
    """Two days that each close, or as ``tied`` says tie, on a mark of their own, which the register can have wrong."""
    work = days(closing=("CM3",) if tied else ("CM3", "CM4"), tied=tied)
    for number, name in enumerate(NAMES):
        work.displace(reading(work, name, 1), np.array(OFF) * (-1) ** number)
    work.job["issue"] = issue
    return work


def mistype(work: Network, folder: Path, mark: str, metres: float) -> None:
    """Add to the easting of a mark in the register."""
    work.register["easting"] = work.register["easting"] + np.where(work.register["mark"] == mark, metres, 0.0)
    write_register(work.register, folder / "register.csv")


def stakes(found: Outcome) -> list[tuple[str, int]]:
    """Return the sessions at stake and how many points of each moved."""
    assert found.record["release"] is not None
    return [(stake["session"], stake["moved"]) for stake in found.record["release"]["at_stake"]]


def called(path: Path, number: int) -> list[str]:
    """Return what the points of an issue are called."""
    folder = path.parent / "out" / "issues" / f"{number:03d}"
    return sorted(row["name"] for row in read_layer(next(folder.glob("*.gpkg")), "points").rows)


@pytest.mark.parametrize(
    ("repeats", "failing", "day"), [("last", "CM4", "d2"), ("mean", "CM3", "d1"), ("mean", "CM4", "d2")]
)
def test_points_drawn_from_a_day_that_fails_now_wait(repeats: str, failing: str, day: str, tmp_path: Path) -> None:
    """The other day's readings would move them: by 12 mm from the last of the two, by half of that from their mean."""
    work = work_of(repeats=repeats)
    path = work.write(tmp_path)
    assert run_job(path).record["verdict"] == "proven" and called(path, 1) == NAMES
    mistype(work, tmp_path, failing, 0.2)
    second = run_job(path)
    assert (second.exit_code, second.current, stakes(second)) == (3, 1, [(day, len(NAMES))])
    changes = second.record["changes"]
    assert changes is not None and (changes["moved"], changes["recoded"]) == (len(NAMES), 0)
    assert changes["max_horizontal"] == pytest.approx(OFF[0] * (1.0 if repeats == "last" else 0.5), abs=5e-4)
    (told,) = waits_for(second.record)
    assert told.startswith(f"in session {day}, on which") and told.endswith("8 points of issue 001: 8 moved")
    assert called(path, 2) == NAMES

    mistype(work, tmp_path, failing, -0.2)
    assert run_job(path).current == 3 and called(path, 3) == NAMES


def test_a_mean_hangs_on_the_day_that_it_was_formed_from(tmp_path: Path) -> None:
    """Nothing is held back: the first day's tie is wrong, its readings no longer agree, and no mean is formed."""
    work = work_of({2: "CM4"}, repeats="mean", hold_back=[])
    path = work.write(tmp_path)
    assert run_job(path).record["verdict"] == "proven"
    mistype(work, tmp_path, "CM1", 0.4)
    second = run_job(path)
    assert second.current == 1 and ("d1", len(NAMES)) in stakes(second)


def test_the_reading_that_lost_changes_nothing_when_its_day_fails(tmp_path: Path) -> None:
    """The first day's readings gave way to the second's; they are suspect, and later they are released."""
    work = work_of(repeats="last")
    path = work.write(tmp_path)
    run_job(path)
    mistype(work, tmp_path, "CM3", 0.2)
    second = run_job(path)
    assert (second.exit_code, second.current, stakes(second)) == (3, 2, [])
    held = read_layer(current_issue(tmp_path / "out").package, "held_back").rows
    assert {row["reason"] for row in held} == {"suspect"} and len(held) == len(NAMES)
    assert called(path, 2) == NAMES and second.record["repeats"]["told_apart"] == 0
    replace_in(path, {'repeats = "last"': 'repeats = "last"\nhold_back = []'})
    third = run_job(path)
    assert third.record["rows"]["by_reason"] == {"duplicate": len(NAMES)} and called(path, 3) == NAMES
    assert stakes(third) == []


def test_a_reading_without_a_place_takes_no_name(tmp_path: Path) -> None:
    """The register gives the first day's tie no height any more, so that nothing ties it."""
    work = work_of({2: "CM4"}, repeats="last")
    path = work.write(tmp_path)
    run_job(path)
    work.register["holds"][work.register["mark"] == "CM1"] = "position"
    write_register(work.register, tmp_path / "register.csv")
    second = run_job(path)
    assert second.record["rows"]["by_reason"] == {"untied": len(NAMES) + 3}  # and those on marks
    assert called(path, 2) == NAMES and stakes(second) == []


def test_names_that_are_numbered_stay_with_their_points(tmp_path: Path) -> None:
    """P1 stands at two places: day 2 has another thing of that name, and days 1 and 3 the first. Day 3 fails then."""
    work = days(days=3, closing=("CM3", "CM3", "CM4"))
    work.displace(reading(work, "P1", 2), (900.0, 0.0, 0.0))
    work.job["issue"] = {"repeats": "last"}
    path = work.write(tmp_path)
    run_job(path)
    mistype(work, tmp_path, "CM4", 0.2)
    run_job(path)
    for number in (1, 2):
        folder = path.parent / "out" / "issues" / f"{number:03d}"
        rows = read_layer(next(folder.glob("*.gpkg")), "points").rows
        east = {row["name"]: row["easting"] for row in rows}
        assert east["P1_2"] == pytest.approx(east["P1"] - 900.0, abs=2.0)
