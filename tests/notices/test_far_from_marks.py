"""Points far beyond the marks that were occupied: told once, with how far; quiet on ordinary days."""

from pathlib import Path

import numpy as np
import pytest
from base_logged import write
from running import record_of
from simulate import Plan, Simulation, simulate
from simulate_plan import ELLIPSOIDAL, to_geocentric, turn_enu

#: Marks within a rectangle of 1.1 km at the most, points within 900 m of the middle.
DAY = Plan(sessions=2, points=12, ties=1, checks=2, marks=3, reach=900.0, noise=False, place=ELLIPSOIDAL)


def sent_out(job: Simulation, metres: float, count: int = 3) -> float:
    """Put the first points of the first session so many metres further east, and return the kilometres to its marks."""
    chosen = np.zeros(len(job.rows["name"]), bool)
    chosen[np.flatnonzero((job.rows["session"] == 0) & (job.rows["kind"] == "point"))[:count]] = True
    at = job.rows["longitude"][chosen], job.rows["latitude"][chosen]
    job.displace(chosen, turn_enu(*at, np.tile([metres, 0.0, 0.0], (count, 1))))
    session = job.job["session"][0]
    marks = {one["mark"] for one in session["ties"] + session["checks"]}
    ellipsoid = job.plan.place.ellipsoid
    known = [np.ravel(to_geocentric(*map(np.array, job.marks.geographic(mark)), ellipsoid)) for mark in marks]
    points = to_geocentric(*(job.rows[name][chosen] for name in ("longitude", "latitude", "height")), ellipsoid)
    away = np.linalg.norm(np.asarray(points)[:, None] - np.array(known), axis=2).min(axis=1)
    return float(away.max()) / 1000


def told(path: Path) -> list[str]:
    return [note for note in record_of(path)["notes"] if "nearest mark" in note]


def test_points_twenty_kilometres_out_are_told_with_how_far_they_lie(tmp_path: Path) -> None:
    job = simulate(DAY)
    away = sent_out(job, 20_000.0)
    (note,) = told(job.write(tmp_path))
    assert note.startswith("session session-01: 3 points lie up to ")
    assert float(note.split("up to ")[1].split(" km")[0]) == pytest.approx(away, abs=0.06)
    assert "No base position is known for them, so that quality.ppm counts for nothing" in note


@pytest.mark.parametrize("known", ["no ppm", "base"])
def test_where_distance_counts_or_need_not_nothing_is_said_of_it(known: str, tmp_path: Path) -> None:
    job = simulate(DAY)
    sent_out(job, 20_000.0)
    if known == "no ppm":
        job.job["quality"]["ppm"] = 0.0
    path = job.write(tmp_path) if known == "no ppm" else write(job, tmp_path, beside=False)
    (note,) = told(path)
    assert "3 points lie" in note and "quality.ppm" not in note


@pytest.mark.parametrize("metres", [0.0, 3_000.0])
def test_points_within_five_kilometres_of_one_mark_are_an_ordinary_day(metres: float, tmp_path: Path) -> None:
    job = simulate(DAY)
    for session in job.job["session"]:
        session["checks"] = []
    job.keep(job.rows["kind"] != "check")
    sent_out(job, metres)
    assert not told(job.write(tmp_path))


@pytest.mark.parametrize("how", ["wide", "network"])
def test_marks_far_apart_and_networks_reach_further(how: str, tmp_path: Path) -> None:
    job = simulate(
        Plan(sessions=1, points=12, ties=1, checks=2, marks=3, reach=3_750.0, noise=False, place=ELLIPSOIDAL)
    )
    first = job.job["session"][0]
    if how == "network":
        first.update(shift="none", checks=first["ties"] + first["checks"], ties=[])
        job.displace(job.rows["session"] == 0, job.shifts[0])
    sent_out(job, 5_500.0 if how == "wide" else 20_000.0)
    assert not told(job.write(tmp_path))
