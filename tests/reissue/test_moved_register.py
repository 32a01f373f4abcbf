"""A register that comes again with all marks moved alike: ties take that up, and only the previous issue shows it."""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import GRS80, TransverseMercator
from first_issue import run_once
from second_issues import doubts
from simulate import Place, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.run.outcome import Outcome

MGA = TransverseMercator(GRS80, 147.0, 0.9996, 500_000.0, 10_000_000.0)
VICTORIA = Place(147.1, -36.5, 300.0, GRS80, MGA, "EPSG:7855", "EPSG:7843", "ellipsoid", None)
#: East and north by which GDA94 coordinates are other than GDA2020 ones there: seven parameters of the GDA2020
#: Technical Manual, in round figures; plates moved by 7 cm a year for 26 years.
OLD_DATUM = (-0.515, -1.443)


def australian() -> Simulation:
    return simulate(Plan(sessions=1, points=10, ties=1, checks=2, marks=4, reach=800.0, noise=False, place=VICTORIA))


def moved(job: Simulation, east: float, north: float) -> None:
    for axis, by in (("easting", east), ("northing", north)):
        job.register[axis] = job.register[axis] + by


def notes(outcome: Outcome) -> list[str]:
    return [one for one in outcome.record["notes"] if "moved by one vector in the" in one]


def recoded(job: Simulation, with_what: str) -> None:
    job.rows["code"] = np.array([f"{code}{with_what}" for code in job.rows["code"]])


def test_the_old_datums_numbers_are_in_doubt_until_they_are_taken_back_or_confirmed(tmp_path: Path) -> None:
    job = australian()
    assert run_once(job.write(tmp_path)).exit_code == 0
    moved(job, *OLD_DATUM)
    second = run_job(job.write(tmp_path))
    (what,) = doubts(second)
    assert "as if its numbers were in GDA94 now" in what and '["datum"]' in what and second.exit_code == 3
    recoded(job, "1")
    third = run_job(job.write(tmp_path))
    assert (third.record["issue"], doubts(third), third.record["verdict"]) == (3, [what], "unchecked")
    moved(job, -OLD_DATUM[0], -OLD_DATUM[1])
    fourth = run_job(job.write(tmp_path))
    assert (fourth.exit_code, doubts(fourth)) == (0, [])


def test_the_right_numbers_in_the_place_of_the_old_datums_are_a_note(tmp_path: Path) -> None:
    job = australian()
    moved(job, *OLD_DATUM)
    run_job(job.write(tmp_path))
    moved(job, -OLD_DATUM[0], -OLD_DATUM[1])
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second), len(notes(second))) == (0, [], 1)


@pytest.mark.parametrize(("by", "told"), [((0.31, -0.12), 1), ((0.006, -0.004), 0)])
def test_another_vector_is_told_where_it_is_beyond_the_tolerance(
    by: tuple[float, float], told: int, tmp_path: Path
) -> None:
    job = australian()
    run_once(job.write(tmp_path))
    moved(job, *by)
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second), len(notes(second))) == (0, [], told)


def test_one_revised_mark_is_no_vector_of_all(tmp_path: Path) -> None:
    job = australian()
    run_once(job.write(tmp_path))
    job.mistype("CM1", "easting", 0.4)
    assert not notes(run_job(job.write(tmp_path)))


def raised(outcome: Outcome) -> list[str]:
    return [one for one in outcome.record["notes"] if "moved by one step in the" in one]


@pytest.mark.parametrize(("up", "told"), [(0.3, 1), (-0.3, 1), (0.06, 1), (0.04, 0), (0.0, 0)])
@pytest.mark.parametrize("plan", [(0.0, 0.0), (0.006, -0.004)])
def test_heights_of_all_marks_by_one_step_are_told_beyond_the_tolerance(
    up: float, told: int, plan: tuple[float, float], tmp_path: Path
) -> None:
    """Another levelling network's heights: 50 mm are the tolerance of checks."""
    job = australian()
    run_once(job.write(tmp_path))
    moved(job, *plan)
    job.register["ellipsoid_height"] = job.register["ellipsoid_height"] + up
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, doubts(second), notes(second), len(raised(second))) == (0, [], [], told)
    assert all(f"({up:+.3f} m)" in one and "3 marks" in one for one in raised(second))


def test_heights_that_move_with_the_plan_are_told_beside_it(tmp_path: Path) -> None:
    job = australian()
    run_once(job.write(tmp_path))
    moved(job, 0.31, -0.12)
    job.register["ellipsoid_height"] = job.register["ellipsoid_height"] + 0.2
    second = run_job(job.write(tmp_path))
    assert (second.exit_code, len(notes(second)), len(raised(second))) == (0, 1, 1)


def test_heights_revised_by_a_new_levelling_each_by_its_own_are_no_step(tmp_path: Path) -> None:
    job = australian()
    run_once(job.write(tmp_path))
    job.mistype("CM1", "ellipsoid_height", 0.07)
    job.mistype("CM2", "ellipsoid_height", 0.13)
    job.mistype("CM3", "ellipsoid_height", 0.10)
    assert not raised(run_job(job.write(tmp_path)))
