"""Heights of two systems in one session: occupations of the one prove nothing of points of the other."""

import csv
import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from base_logged import SMALL
from running import rewrite_export
from simulate import CANTERBURY, CENTRAL_JAVA, simulate

from pipeline import run_job

PLAN = replace(SMALL, sessions=1, points=40, marks=6, checks=4, place=CENTRAL_JAVA)


def judged(folder: Path, off: Callable[[int], float], code: str = "") -> tuple[int, list[str], list[str]]:
    """Run a day in which points are ``off`` so many times the geoid separation, by the number of each.

    Those that are off have a ``code`` of their own, where one is given.
    """
    job = simulate(PLAN)
    separation = float(np.median(job.marks.ellipsoid_height - job.marks.height))
    path = job.write(folder)
    (export,) = folder.glob("rover*.csv")
    count = iter(range(1_000))

    def moved(row: dict[str, str]) -> dict[str, str]:
        on_mark = "-T" in row["Point"] or "-C" in row["Point"]
        by = 0.0 if on_mark else off(next(count)) * separation
        return row | {"EllHt": f"{float(row['EllHt']) - by:.4f}"} | ({"Code": code} if by and code else {})

    rewrite_export(export, moved)
    outcome = run_job(path, dry_run=True)
    notes = [note for note in outcome.record["notes"] if "two height systems" in note]
    return outcome.exit_code, [one["kind"] for one in outcome.record["doubts"]], notes


@pytest.mark.parametrize("some", [range(5), range(20, 32), range(0, 40, 2)], ids=["five", "hours", "every other"])
def test_points_above_the_datum_among_ellipsoidal_ones(some: range, tmp_path: Path) -> None:
    code, doubts, _ = judged(tmp_path, lambda point: 1.0 if point in some else 0.0)
    assert (code, doubts) == (3, ["export-heights"])


@pytest.mark.parametrize("part", [0.0, 0.6, 1.5])
def test_other_levels_are_quiet(part: float, tmp_path: Path) -> None:
    assert judged(tmp_path, lambda point: part if point < 12 else 0.0) == (0, [], [])


def test_a_bridge_over_the_others_is_a_note(tmp_path: Path) -> None:
    """What is coded as something else may lie as high as the separation; common practice, no source."""
    code, doubts, notes = judged(tmp_path, lambda point: 1.0 if 20 <= point < 32 else 0.0, code="DECK")
    assert (code, doubts, len(notes)) == (0, [], 1)


@pytest.mark.parametrize("hours", [2.0, 7.0], ids=["most without", "most with"])
def test_a_stated_field_shift_makes_no_levels(hours: float, tmp_path: Path) -> None:
    """The field lifts readings by as much as the geoid is off, for some hours, as the job states."""
    job = simulate(replace(PLAN, place=CANTERBURY, reach=600.0))
    up = float(np.median(job.marks.ellipsoid_height - job.marks.height))
    begins = job.job["session"][0]["start"] + dt.timedelta(hours=1)
    ends = begins + dt.timedelta(hours=hours)
    job.correct_in_field(0, begins, 0.3, -0.2, up)
    job.correct_in_field(0, ends, -0.3, 0.2, -up)
    stated = {"from": begins, "until": ends, "east": 0.3, "north": -0.2, "up": up}
    job.job["session"][0]["field_shift"] = stated
    outcome = run_job(job.write(tmp_path), dry_run=True)
    assert (outcome.exit_code, outcome.record["doubts"]) == (0, [])
    assert not any("two height systems" in note for note in outcome.record["notes"])


@pytest.mark.parametrize("hours", [2.0, 7.0], ids=["most without", "most with"])
def test_points_of_another_system_among_those_with_a_field_shift(hours: float, tmp_path: Path) -> None:
    """Every fourth point is above the datum, whatever the field did."""
    job = simulate(replace(PLAN, reach=600.0))
    separation = float(np.median(job.marks.ellipsoid_height - job.marks.height))
    begins = job.job["session"][0]["start"] + dt.timedelta(hours=1)
    ends = begins + dt.timedelta(hours=hours)
    job.correct_in_field(0, begins, 0.3, -0.2, 3.0)
    job.correct_in_field(0, ends, -0.3, 0.2, -3.0)
    fourth = np.isin(np.arange(len(job.rows["name"])), np.flatnonzero(job.rows["kind"] == "point")[::4])
    job.rows["height"] = job.rows["height"] - np.where(fourth, separation, 0.0)
    job.job["session"][0]["field_shift"] = {"from": begins, "until": ends, "east": 0.3, "north": -0.2, "up": 3.0}
    outcome = run_job(job.write(tmp_path), dry_run=True)
    assert (outcome.exit_code, {one["kind"] for one in outcome.record["doubts"]}) == (3, {"export-heights"})


@pytest.mark.parametrize("seed", range(4))
def test_heights_all_over_the_relief_are_no_levels(seed: int, tmp_path: Path) -> None:
    """Points anywhere between the bottom and 45 m above it, but for 7 m halfway that nobody happened to measure."""
    job = simulate(replace(PLAN, reach=600.0))
    random = np.random.default_rng(seed)
    up = random.uniform(0.0, 19.0, len(job.rows["name"])) + 26.0 * random.integers(0, 2, len(job.rows["name"]))
    job.rows["height"] = job.rows["height"] + np.where(job.rows["kind"] == "point", up, 0.0)
    outcome = run_job(job.write(tmp_path), dry_run=True)
    assert (outcome.exit_code, outcome.record["doubts"]) == (0, [])


def eastern_part(folder: Path, part: float, marked: bool = False, code: str = "") -> tuple[int, list[str], int]:
    """Run a day whose eastern points are another rover's, in an export of its own ``part`` separations down.

    Return the exit code, the doubts and how many notes of two systems there are. ``marked`` puts an occupation of a
    mark among its rows, in heights of the same kind.
    """
    job = simulate(replace(PLAN, reach=200.0, points=60))
    separation = float(np.median(job.marks.ellipsoid_height - job.marks.height))
    assert separation > 10.0
    path = job.write(folder)
    with (folder / "rover001.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    on_marks = [row for row in rows if "-T" in row["Point"] or "-C" in row["Point"]]
    points = sorted((row for row in rows if row not in on_marks), key=lambda row: float(row["Lon"]))
    other = points[40:] + (on_marks[-1:] if marked else [])
    first = [row for row in rows if row not in other]
    down = [row | {"EllHt": f"{float(row['EllHt']) - part * separation:.4f}"} for row in other]
    for name, some in (("rover001.csv", first), ("rover002.csv", down)):
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(row | ({"Code": code} if code and some is down else {}) for row in some)
    outcome = run_job(path, dry_run=True)
    notes = [note for note in outcome.record["notes"] if "two height systems" in note]
    return outcome.exit_code, [one["kind"] for one in outcome.record["doubts"]], len(notes)


@pytest.mark.parametrize("part", [1.0, 1.02])
def test_an_export_above_the_datum_that_no_mark_proves(part: float, tmp_path: Path) -> None:
    """A second rover works its own part of the site: nothing of it lies among the other's points."""
    code, doubts, _ = eastern_part(tmp_path, part)
    assert (code, doubts) == (3, ["export-heights"])


@pytest.mark.parametrize("part", [-1.0, 0.85, 1.15])
def test_an_export_of_other_ground_is_not_in_doubt(part: float, tmp_path: Path) -> None:
    """Above the others where heights above the datum are below, or in a quarry of another depth; no source."""
    code, doubts, _ = eastern_part(tmp_path, part)
    assert (code, doubts) == (0, [])


def test_an_export_of_what_is_coded_as_something_else_is_a_note(tmp_path: Path) -> None:
    assert eastern_part(tmp_path, 1.0, code="QUARRY") == (0, [], 1)


@pytest.mark.parametrize("part", [1.0, -1.0], ids=["below the marks", "above the marks"])
def test_all_points_off_marks_among_them(part: float, tmp_path: Path) -> None:
    """Work on a plateau or in a pit that is as deep as the separation, with marks around it.

    Ellipsoidal heights of marks lie above those of points that count from the datum; work above all marks is work.
    """
    code, doubts, notes = judged(tmp_path, lambda point: part)
    assert (code, doubts, len(notes)) == ((3, ["export-heights"], 1) if part > 0 else (0, [], 1))
    assert "readings, all on marks (first one here)" in notes[0]


@pytest.mark.parametrize("marked", [True, False])
def test_a_valley_as_deep_as_the_separation(marked: bool, tmp_path: Path) -> None:
    """Its eastern points and one of its marks lie in it: the check there tells that the heights are of one system."""
    job = simulate(replace(PLAN, reach=200.0, points=60))
    separation = float(np.median(job.marks.ellipsoid_height - job.marks.height))
    points = np.flatnonzero(job.rows["kind"] == "point")
    low = np.isin(np.arange(len(job.rows["kind"])), points[np.argsort(job.rows["longitude"][points])[40:]])
    if marked:
        mark = job.job["session"][0]["checks"][-1]["mark"]
        said = (*job.job["session"][0]["ties"], *job.job["session"][0]["checks"])
        low |= np.isin(job.rows["name"], [one["point"] for one in said if one["mark"] == mark])
        job.register["height"] = job.register["height"] - separation * (job.register["mark"] == mark)
    job.rows["height"] = job.rows["height"] - separation * low
    outcome = run_job(job.write(tmp_path), dry_run=True)
    notes = [note for note in outcome.record["notes"] if "two height systems" in note]
    assert (outcome.exit_code, outcome.record["doubts"], len(notes)) == (0, [], 0 if marked else 1)
