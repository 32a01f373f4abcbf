"""Whole jobs with noise of known size: the stated 95 % uncertainties are those of the errors, and follow closed forms.

Noise is drawn here and not by the simulator, alike in east and north, also for the register: then hu95 is 2.45 times
one component's standard uncertainty, and vu95 is 1.96 times the height's. What a session's tie errs, all its points
err; so every statement is made of many sessions that share no tie, and its bounds count sessions, not points.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from closed_forms import Floats, turn_enu
from issued import Issue, off_truth
from numpy.testing import assert_allclose
from running import record_of, run_simulated
from simulate import Plan, Simulation, simulate

CIRCLE, INTERVAL = np.sqrt(-2 * np.log(0.05)), 1.959963984540054
#: Standard uncertainty (horizontal component, height): points, occupations, the pole over a mark, the register.
POINT, OCCUPATION = np.array([0.008, 0.015]), np.array([0.004, 0.007])
CENTRING, REGISTER = np.array([0.003, 0.0]), np.array([0.010 / CIRCLE, 0.020 / INTERVAL])


@dataclass
class Errors:
    """Per session (s, k) of its k points: errors in units of what hu95 and vu95 imply, and the two themselves."""

    east: Floats
    north: Floats
    up: Floats
    hu95: Floats
    vu95: Floats

    @classmethod
    def of(cls, issue: Issue, job: Simulation, sessions: list[str]) -> "Errors":
        rows = [issue.points.where(session=name) for name in sessions]
        off = np.array([off_truth(some, job.truth) for some in rows])
        hu95, vu95 = (np.array([[row[name] for row in some] for some in rows]) for name in ("hu95", "vu95"))
        return cls(
            off[..., 0] / (hu95 / CIRCLE), off[..., 1] / (hu95 / CIRCLE), off[..., 2] / (vu95 / INTERVAL), hu95, vu95
        )


def noisy(plan: Plan, seed: int) -> Simulation:
    """A job with the noise above; checks are told to tolerate it, so that nothing is held back."""
    rng = np.random.default_rng(seed)
    job = simulate(plan)
    rows = job.rows
    count, on_mark = len(rows["name"]), (rows["kind"] != "point") | (rows["code"] == "CM")
    size = np.where(on_mark[:, None], OCCUPATION, POINT)
    rows["sigma_east"], rows["sigma_north"], rows["sigma_up"] = size[:, 0], size[:, 0], size[:, 1]
    total = np.where(on_mark[:, None], np.hypot(size, CENTRING), size)
    enu = rng.normal(size=(count, 3)) * total[:, [0, 0, 1]]
    job.displace(np.ones(count, bool), turn_enu(job.truth.longitude, job.truth.latitude, enu))
    for name, sigma in (("easting", REGISTER[0]), ("northing", REGISTER[0]), ("height", REGISTER[1])):
        job.register[name] = job.register[name] + rng.normal(0, sigma, len(job.register[name]))
    job.job["checks"] = {"horizontal": 0.2, "vertical": 0.2}
    return job


def agrees(errors: Errors, least: float) -> None:
    """Errors have unit variance and 95 % of them lie within, as well as so many sessions can tell.

    ``least`` is how far off the variance may be told to be by the bounds themselves, so that they cannot be empty.
    """
    sessions = len(errors.east)
    for values in (errors.east, errors.north, errors.up):
        by_session = (values**2).mean(axis=1)
        bound = 4 * by_session.std() / np.sqrt(sessions)
        assert bound < least
        assert abs(by_session.mean() - 1) < bound
        assert abs(values.mean()) < 4 * values.mean(axis=1).std() / np.sqrt(sessions)
    for within in (np.hypot(errors.east, errors.north) < CIRCLE, np.abs(errors.up) < INTERVAL):
        by_session = within.mean(axis=1)
        assert abs(by_session.mean() - 0.95) < 4 * by_session.std() / np.sqrt(sessions)


def stated(errors: Errors, *parts: Floats) -> None:
    """hu95 and vu95 are the root of the sum of the squared parts.

    To a third of a per mille: east and up of mark and point differ by 2 km on the ground.
    """
    horizontal, vertical = np.sqrt(np.sum(np.square(parts), axis=0))
    assert_allclose(errors.hu95, CIRCLE * horizontal, rtol=5e-4, atol=0)
    assert_allclose(errors.vu95, INTERVAL * vertical, rtol=5e-4, atol=0)


def names(job: Simulation) -> list[str]:
    return [one["name"] for one in job.job["session"]]


@pytest.mark.parametrize("seed", [11])
def test_one_tie(seed: int, tmp_path: Path) -> None:
    """Each session hangs on a mark of its own: point, occupation, centring and register add up."""
    job = noisy(Plan(sessions=150, points=4, ties=1, checks=2, marks=150, noise=False), seed)
    errors = Errors.of(run_simulated(job, tmp_path), job, names(job))
    stated(errors, POINT, OCCUPATION, CENTRING, REGISTER)
    agrees(errors, 0.5)


@pytest.mark.parametrize("seed", [21])
def test_a_session_that_hangs_on_a_temporary_mark(seed: int, tmp_path: Path) -> None:
    """Of two sessions the second has only a temporary mark, which ties it to the first, and that to control."""
    plan = Plan(sessions=200, points=4, ties=1, checks=2, marks=200, noise=False, temporary=True)
    job = simulate(plan)
    job = noisy(plan, seed)
    for number, session in enumerate(job.job["session"]):
        for tie in session["ties"]:
            if tie["mark"] == "TM1":
                tie["mark"] = f"TM{number // 2}"
        if number % 2:
            session["ties"] = session["ties"][1:]
    job.keep((job.rows["kind"] != "tie") | (job.rows["session"] % 2 == 0) | np.char.endswith(job.rows["name"], "TM1"))
    issue = run_simulated(job, tmp_path)
    chained = Errors.of(issue, job, names(job)[1::2])
    over = np.hypot(OCCUPATION, CENTRING)
    stated(chained, POINT, over, over, over, REGISTER)
    agrees(chained, 0.6)
    stated(Errors.of(issue, job, names(job)[::2]), POINT, over, REGISTER)


def test_many_ties(tmp_path: Path) -> None:
    """Three ties a session, each mark shared by three: against least squares of one component, dense and by hand."""
    sessions = 150
    plan = Plan(sessions=sessions, points=4, ties=3, checks=2, marks=sessions, noise=False)
    job = noisy(plan, 31)
    errors = Errors.of(run_simulated(job, tmp_path), job, names(job))
    over = np.hypot(OCCUPATION, CENTRING)
    rows = 3 * sessions
    for sigma, control, point, ours, factor in zip(
        over, REGISTER, POINT, (errors.hu95, errors.vu95), (CIRCLE, INTERVAL), strict=True
    ):
        design = np.zeros((rows + sessions, 2 * sessions))
        for row in range(rows):
            design[row, row // 3] = 1 / sigma
            design[row, sessions + (row // 3 + row % 3) % sessions] = -1 / sigma
        design[rows:, sessions:] = np.eye(sessions) / control
        variance = np.diag(np.linalg.inv(design.T @ design))[:sessions]
        assert_allclose(ours, factor * np.sqrt(variance + point**2)[:, None] * np.ones((1, 4)), rtol=5e-4, atol=0)
    agrees(errors, 0.5)


def test_the_adjustments_own_test_has_the_spread_that_it_should(tmp_path: Path) -> None:
    """The weighted squares of the residuals are chi-square of the redundancy: 36 in each of six jobs."""
    factors = []
    for seed in range(6):
        job = noisy(Plan(sessions=6, points=2, ties=3, checks=1, marks=6, noise=False), 40 + seed)
        found = record_of(job.write(tmp_path / str(seed)))["adjustment"]
        # 6 sessions of 3 ties and 6 marks of control, 3 components each, less 12 unknown vectors.
        assert found["degrees_of_freedom"] == 3 * (18 + 6 - 12)
        factors.append(found["variance_factor"])
    degrees = 6 * 36
    assert abs(np.mean(factors) - 1) < 4 * np.sqrt(2 / degrees)
