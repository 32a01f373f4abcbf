"""Two rovers at one base: what one of them is off by as a whole shows at its own occupations, not at the other's.

A wrong pole height and a rover that listens to another base move all of its readings by one vector (common practice,
no source); the truth of every point is the simulation's.
"""

import csv
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from issued import current_issue
from numpy.typing import NDArray
from running import paste_session, rewrite_numbered
from simulate import Plan, Simulation, simulate
from simulate_plan import turn_enu

from pipeline import Outcome, run_job

Rows = NDArray[np.bool_]

#: Of ten checks of a session, by turns over its marks, those that the second rover made: two at its opening.
SECOND = (1, 3, 6, 8)


def day(sessions: int = 1, **plan: Any) -> Simulation:
    """A base with ten checks a day on two marks, five before the points and five after."""
    return simulate(Plan(sessions=sessions, points=40, ties=1, checks=10, marks=3, seed=7, **plan))


def of_second(job: Simulation, checks: Sequence[int] = SECOND) -> Rows:
    """Return which rows are the second rover's: every other point, and some of each session's checks."""
    kind, chosen = job.rows["kind"], np.zeros(len(job.rows["name"]), bool)
    for session in range(job.plan.sessions):
        mine = job.rows["session"] == session
        chosen[np.flatnonzero(mine & (kind == "point"))[1::2]] = True
        chosen[np.flatnonzero(mine & (kind == "check"))[list(checks)]] = True
    return chosen


def move(job: Simulation, chosen: Rows, *enu: float) -> None:
    at = job.bases
    job.displace(chosen, turn_enu(at.longitude[0], at.latitude[0], np.array(enu)))


def write(job: Simulation, folder: Path, parts: dict[str, Rows]) -> Path:
    """Write the job with its rows parted into exports."""
    path: Path = job.write(folder)
    (export,) = folder.glob("rover*.csv")
    with export.open(newline="", encoding="utf-8") as file:
        heading, *rows = csv.reader(file)
    export.unlink()
    for name, which in parts.items():
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([heading, *(row for row, mine in zip(rows, which, strict=True) if mine)])
    path.write_text(path.read_text(encoding="utf-8").replace(export.name, "rover*.csv"), encoding="utf-8")
    return path


def two(job: Simulation, folder: Path, second: Rows) -> Path:
    """Write the job with an export for each rover."""
    return write(job, folder, {"rover1.csv": ~second, "rover2.csv": second})


def causes(outcome: Outcome) -> set[str]:
    return {str(check["cause"]) for check in outcome.record["checks"] if check["passed"] is False}


def size_of(cause: str) -> tuple[float, ...]:
    """Return the east, north, height that a cause tells first."""
    return tuple(map(float, re.findall(r"[+-]\d+\.\d+", cause)[:3]))


def issued(path: Path) -> dict[str, str]:
    """Return the proof word of each issued point."""
    points = current_issue(path.parent / "out").points
    return dict(zip(points.column("name"), points.column("proof"), strict=True))


def names(job: Simulation, chosen: Rows) -> set[str]:
    return set(job.rows["name"][chosen & (job.rows["kind"] == "point")].tolist())


def anonymous(job: Simulation) -> None:
    """Let no reading and no session name its base."""
    job.rows["base"] = np.full(len(job.rows["name"]), "")
    for session in job.job["session"]:
        del session["base"]


def no_lines(outcome: Outcome) -> bool:
    return all(one["split"] is None and one["field_shift"] is None for one in outcome.record["diagnoses"])


def test_no_point_of_a_rover_all_of_whose_checks_fail_is_issued(tmp_path: Path) -> None:
    """Its pole was told 0.1 m too short; the other's checks lie before and after, and pass."""
    job = day()
    second = of_second(job)
    move(job, second, 0.0, 0.0, 0.1)
    path = two(job, tmp_path, second)
    outcome = run_job(path)
    assert outcome.exit_code == 3
    found = issued(path)
    assert not names(job, second) & set(found)
    assert set(found.values()) == {"bracketed"} and set(found) <= names(job, ~second)
    held = current_issue(tmp_path / "out").held_back.where(source_file="rover2.csv")
    assert len(held) == 20
    assert {row["reason"] for row in held} == {"suspect"}
    assert all("all 4 occupations of control marks of rover2.csv" in row["detail"] for row in held)
    (cause,) = causes(outcome)
    assert "everything of rover2.csv is off in height by" in cause
    assert size_of(cause) == pytest.approx((0.0, 0.0, 0.1), abs=0.01)
    assert "the pole height of that rover" in cause


def test_a_single_failing_check_of_a_rover_makes_suspect_what_it_alone_could_prove(tmp_path: Path) -> None:
    """It may be bad by itself; that nothing else proves its rover is told. In one file nobody knows whose it is."""
    job = day()
    second = of_second(job, (3,))
    move(job, second, 0.0, 0.0, 0.1)
    alone, together = two(job, tmp_path / "two", second), tmp_path / "one"
    outcome, one = run_job(alone), run_job(write(job, together, {"rover.csv": np.ones(len(second), bool)}))
    (cause,) = causes(outcome)
    assert cause.startswith("S01-C4 alone is off in height") and "everything" not in cause
    every = issued(together / "job.toml")
    assert issued(alone) == {name: word for name, word in every.items() if name not in names(job, second)}
    assert every.keys() >= names(job, second) and one.exit_code == outcome.exit_code == 3
    (note,) = [note for note in outcome.record["notes"] if "only occupation" in note]
    assert note.startswith("rover2.csv: its only occupation of a control mark in session ") and "fails" in note
    assert not [note for note in one.record["notes"] if "only occupation" in note]


def test_two_files_of_such_a_rover_are_one(tmp_path: Path) -> None:
    """It wrote a new file at noon: each has its failing checks, and together they are off by one vector."""
    job = day()
    second = of_second(job)
    move(job, second, 0.0, 0.0, 0.1)
    late = np.arange(len(second)) >= len(second) // 2
    path = write(job, tmp_path, {"rover1.csv": ~second, "rover2a.csv": second & ~late, "rover2b.csv": second & late})
    (cause,) = causes(run_job(path))
    assert cause.startswith("everything of rover2a.csv, rover2b.csv is off in height")
    assert not names(job, second) & set(issued(path))


def test_a_rover_some_of_whose_checks_just_pass_is_off_by_one_vector_all_the_same(tmp_path: Path) -> None:
    """0.06 m where 0.05 m is allowed: one of its checks is a centimetre better, and passes."""
    job = day(noise=False)
    second = of_second(job, (1, 3, 6, 8))
    move(job, second, 0.0, 0.0, 0.06)
    move(job, job.rows["name"] == "S01-C4", 0.0, 0.0, -0.015)
    path = two(job, tmp_path, second)
    outcome = run_job(path)
    assert sum(check["passed"] is False for check in outcome.record["checks"]) == 3
    assert not names(job, second) & set(issued(path))
    assert names(job, ~second) == set(issued(path))


def test_another_base_at_the_same_hours_is_told_and_no_lines_are_given(tmp_path: Path) -> None:
    """A file per base, and nothing that says which: sessions cannot tell them apart."""
    job = day()
    anonymous(job)
    second = of_second(job)
    move(job, second, 3.1, -3.8, -6.4)
    path = two(job, tmp_path, second)
    outcome = run_job(path)
    (cause,) = causes(outcome)
    assert "everything of rover2.csv is off by" in cause
    assert size_of(cause) == pytest.approx((3.1, -3.8, -6.4), abs=0.08)  # in the grid, turned by its convergence
    assert "another base than the session's?" in cause and "base id column only" in cause
    assert "rover2.csv a job of its own" in cause
    assert no_lines(outcome) and not names(job, second) & set(issued(path))


def test_two_bases_that_both_tie_the_session_are_told(tmp_path: Path) -> None:
    """The ties lie between the two bases, so that nothing passes: either file may be the one."""
    job = day()
    anonymous(job)
    second = of_second(job, (0, 1, 3, 6, 8))
    move(job, second, 3.1, -3.8, -6.4)
    table = job.job["session"][0]
    table["ties"] = [*table["ties"], table["checks"].pop(0)]
    outcome = run_job(two(job, tmp_path, second))
    (cause,) = causes(outcome)
    assert "everything of rover2.csv is off by" in cause and "everything of rover1.csv is off by" in cause
    assert "the base appears to have moved" not in cause
    assert no_lines(outcome) and not outcome.record["rows"]["points"]


@pytest.mark.parametrize("checks", [(8,), (6, 8)])
def test_a_base_is_not_split_between_two_rovers_at_work_at_once(tmp_path: Path, checks: tuple[int, ...]) -> None:
    """The second one's only occupations come last: its base, or the base for all? After a split all would pass."""
    job = day()
    anonymous(job)
    second = of_second(job, checks)
    keep = np.ones(len(second), bool)
    closing = np.flatnonzero(job.rows["kind"] == "check")[5:]
    keep[closing] = second[closing]
    move(job, second, 3.1, -3.8, -6.4)
    job.keep(keep)
    table = job.job["session"][0]
    table["checks"] = [one for one in table["checks"] if one["point"] in set(job.rows["name"].tolist())]
    outcome = run_job(two(job, tmp_path, second[keep]))
    assert any("the base appears to have moved" in cause for cause in causes(outcome))
    assert no_lines(outcome)


def test_readings_of_another_base_id_are_told_by_it(tmp_path: Path) -> None:
    """Both rovers were exported as one file, with the id of each one's base, and the session names none."""
    job = day()
    second = of_second(job)
    job.rows["base"] = np.where(second, "SOUTH", "NORTH")
    del job.job["session"][0]["base"]
    move(job, second, 3.1, -3.8, -6.4)
    path = job.write(tmp_path)
    (cause,) = causes(run_job(path))
    assert cause.startswith("everything of base id SOUTH is off by")
    assert size_of(cause) == pytest.approx((3.1, -3.8, -6.4), abs=0.08)
    assert "a [[session]] of its own" in cause
    assert not names(job, second) & set(issued(path))


# --- what must be as with one file ------------------------------------------------------------------------------------


def alike(one: Outcome, other: Outcome) -> None:
    """Two runs that find the same checks, causes and points."""
    assert one.record["verdict"] == other.record["verdict"]
    assert one.record["checks"] == other.record["checks"]
    assert one.record["diagnoses"] == other.record["diagnoses"]
    suspect = [{point["name"] for point in each.record["suspect"]["points"]} for each in (one, other)]
    assert suspect[0] == suspect[1]
    assert one.record["rows"]["by_reason"] == other.record["rows"]["by_reason"]


def test_one_failing_check_of_several_of_a_file_is_that_check(tmp_path: Path) -> None:
    job = day()
    second = of_second(job)
    move(job, job.rows["name"] == "S01-C4", 0.0, 0.0, 0.1)
    whole = run_job(job.write(tmp_path / "whole"), dry_run=True)
    parted = run_job(two(job, tmp_path / "parted", second), dry_run=True)
    assert whole.exit_code == parted.exit_code == 3
    assert whole.record["checks"] == parted.record["checks"]
    assert whole.record["diagnoses"] == parted.record["diagnoses"]


#: The second rover's checks, which of them fails, and from which to before which of its 20 points that reaches.
OWN = [
    ((2, 7), "S01-C8", (0, 20)),
    ((2, 7), "S01-C3", (0, 20)),
    ((2, 3, 7), "S01-C3", (0, 0)),
    ((2, 7, 8), "S01-C9", (0, 0)),
]


@pytest.mark.parametrize(
    ("checks", "fails", "reach"), OWN, ids=["closing", "opening", "before another", "behind another"]
)
def test_a_failing_check_reaches_the_points_of_its_own_rover_past_those_of_another(
    checks: tuple[int, ...], fails: str, reach: tuple[int, int], tmp_path: Path
) -> None:
    """The other rover's lie between, and pass: they prove the base, and no pole of this one."""
    job = day()
    second = of_second(job, checks)
    move(job, job.rows["name"] == fails, 0.0, 0.0, 0.1)
    path = two(job, tmp_path, second)
    outcome = run_job(path)
    theirs = job.rows["name"][second & (job.rows["kind"] == "point")][slice(*reach)].tolist()
    held = current_issue(tmp_path / "out").held_back.where(source_file="rover2.csv")
    assert sorted(row["name"] for row in held) == sorted(theirs)
    assert all("before or behind it in rover2.csv fails" in row["detail"] for row in held)
    assert issued(path) == dict.fromkeys(names(job, np.ones(len(second), bool)).difference(theirs), "bracketed")
    assert outcome.exit_code == 3


@pytest.mark.parametrize("second", ["checks alone", "after another"])
def test_files_of_one_rover_are_judged_as_one(second: str, tmp_path: Path) -> None:
    """Its checks may be in a file of their own, or in that of another part of the day."""
    job = day()
    kind, row = job.rows["kind"], np.arange(len(job.rows["name"]))
    move(job, job.rows["name"] == "S01-C8", 0.0, 0.0, 0.1)
    own = (kind != "point") & (job.rows["name"] != "S01-C8") if second == "checks alone" else row < len(row) // 2
    whole = run_job(job.write(tmp_path / "whole"), dry_run=True)
    alike(whole, run_job(two(job, tmp_path / "parted", own), dry_run=True))


@pytest.mark.parametrize("by", ["hour", "code"])
def test_a_base_that_moved_is_split_whatever_files_one_rover_wrote(tmp_path: Path, by: str) -> None:
    job = day()
    job.knock_base(0, 0.5, east=0.21, north=-0.13, up=0.05)
    whole = run_job(job.write(tmp_path / "whole"), dry_run=True)
    kinds, number = job.rows["kind"], np.arange(len(job.rows["name"]))
    which = number * 5 // len(number) if by == "hour" else np.unique(job.rows["code"], return_inverse=True)[1]
    assert len(np.unique(which)) > 1 and (kinds == "check").any()
    parts = {f"rover{place}.csv": which == place for place in np.unique(which).tolist()}
    path = write(job, tmp_path / "parted", parts)
    outcome = run_job(path, dry_run=True)
    alike(whole, outcome)
    (lines,) = [one["split"] for one in outcome.record["diagnoses"]]
    paste_session(path, "session-01", str(lines))
    after = run_job(path, dry_run=True)
    assert not any(check["passed"] is False for check in after.record["checks"])


def test_two_rovers_whose_checks_all_pass_are_proven(tmp_path: Path) -> None:
    job = day(sessions=2)
    outcome = run_job(two(job, tmp_path, of_second(job)), dry_run=True)
    assert outcome.exit_code == 0 and outcome.record["verdict"] == "proven"
    assert not outcome.record["rows"]["held_back"]


def test_a_file_of_checks_alone_is_no_rover(tmp_path: Path) -> None:
    """Exported by code: the base was moved after the tie, and all checks lie among the points that follow."""
    job = day()
    kind, time = job.rows["kind"], job.rows["time"]
    checks = kind == "check"
    time[checks] = time[kind == "point"][2:32:3] + np.timedelta64(2500, "ms")
    move(job, kind != "tie", 0.2, 0.1, 0.05)
    parts = {"rover-tie.csv": kind == "tie", "rover-points.csv": kind == "point", "rover-checks.csv": checks}
    told = causes(run_job(write(job, tmp_path, parts)))
    assert told and not [cause for cause in told if "everything of" in cause]


@pytest.mark.parametrize("off", [2, 1], ids=["on every day", "on one day"])
def test_a_rover_off_on_the_only_mark_that_it_stood_on_each_day(off: int, tmp_path: Path) -> None:
    """Where it fails on all marks of the job, it is off on every day; where it passes on a day, a mark may be bad."""
    job = day(sessions=2)
    second = of_second(job, [9])
    days = second & (job.rows["session"] < off)
    move(job, days if off > 1 else days & (job.rows["kind"] == "check"), 1.1, -0.8, 2.3)
    path = two(job, tmp_path, second)
    assert run_job(path).record["verdict"] == "failed"
    found = issued(path)
    theirs, ours = names(job, second), names(job, ~second)
    assert not theirs & found.keys() if off > 1 else theirs & found.keys()
    assert ours <= found.keys()


def column_of(path: Path, second: Rows, heading: str = "Receiver") -> Path:
    """Let the one export of a written job say in a column whose each reading is."""
    (export,) = path.parent.glob("rover*.csv")
    rewrite_numbered(export, lambda number, row: row | {heading: "R2" if second[number] else "R1"})
    return path


@pytest.mark.parametrize("checks", [SECOND, (3,), (1, 8)])
def test_rovers_of_one_export_are_told_apart_by_their_column(checks: tuple[int, ...], tmp_path: Path) -> None:
    """As many points are issued as where each has an export of its own."""
    job = day()
    second = of_second(job, checks)
    move(job, second, 0.0, 0.0, 0.1)
    apart = two(job, tmp_path / "two", second)
    one = column_of(write(job, tmp_path / "one", {"rover.csv": np.ones(len(second), bool)}), second)
    assert run_job(one).exit_code == run_job(apart).exit_code == 3
    assert issued(one) == issued(apart)
    held = current_issue(tmp_path / "one" / "out").held_back.where(reason="suspect")
    assert any("of Receiver R2 in rover.csv fails" in row["detail"] for row in held)


def test_the_column_of_an_honest_day_holds_nothing_back(tmp_path: Path) -> None:
    """Nor where the other value has no point of its own."""
    for number, checks in enumerate(((), SECOND, (3,))):
        job = day()
        second = of_second(job, checks)
        path = column_of(write(job, tmp_path / str(number), {"rover.csv": np.ones(len(second), bool)}), second)
        assert run_job(path).exit_code == 0
    job = day()
    move(job, job.rows["name"] == "S01-C4", 0.0, 0.0, 0.1)
    plain = write(job, tmp_path / "plain", {"rover.csv": np.ones(len(job.rows["name"]), bool)})
    whose = column_of(write(job, tmp_path / "alone", {"rover.csv": np.ones(len(job.rows["name"]), bool)}),
                      job.rows["name"] == "S01-C4")  # fmt: skip
    assert run_job(plain).exit_code == run_job(whose).exit_code == 3
    assert len(issued(whose)) <= len(issued(plain))
