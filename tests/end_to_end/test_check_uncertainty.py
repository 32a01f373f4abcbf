"""hu95 and vu95 of check_marks: of observed minus known, with all that the two have in common.

The expectation is propagated densely from the files of a job: the difference as a linear function of every observation
and register coordinate, times their variances. That 95 % of differences lie within is simulated in `tests/proof`.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from circles import circle
from every import every
from issued import Issue, read_layer
from network_dense import CIRCLE, INTERVAL, Dense, axes, dense
from network_jobs import OCCUPATION, Network
from running import run_written
from simulate_plan import Floats

CENTRING = 0.003


def radius(covariance: Floats) -> float:
    """The 95 % radius of an east-north covariance: the integral of the bivariate normal over the circle."""
    minor, major = np.sqrt(np.maximum(np.linalg.eigvalsh(covariance), 0.0))
    return circle(major, minor)


def job() -> Network:
    """Checks on marks that tie their session, another one or none, under a base, of position and of height alone."""
    work = Network(seed=8)
    work.job["checks"] = {"horizontal": 1.0, "vertical": 1.0}
    work.mark("CM1", 0, 0)
    work.mark("CM2", 1_900, -800, hu95=0.020, vu95=0.012)
    work.mark("CM3", -1_200, 2_300, hu95=0.006, vu95=0.030)
    work.mark("PO1", 900, 1_000, holds="position")
    work.mark("HE1", -700, 400, holds="height", vu95=0.006)
    work.mark("TM1", 400, -300, known=False)
    some = [(300, 200), (-2_000, 1_500)]
    work.session("s1", ties=["CM1"], checks=["CM3"], points=some, closing=["CM1", "CM2"])
    work.session("s2", ties=["CM1", "CM2", "PO1", "HE1", "TM1"], points=some, closing=["CM2", "PO1", "HE1"])
    work.session("s3", over="CM2", antenna=1.5, checks=["CM2"], points=some, closing=["CM1"])
    work.session("s4", ties=["TM1"], points=some, closing=["CM3", "CM1"])
    return work


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Network, Issue, Dense]:
    folder, work = tmp_path_factory.mktemp("checks"), job()
    issue = run_written(work.write(folder))
    return work, issue, dense(work, folder)


def propagated(work: Network, found: Dense, row: dict[str, Any]) -> Floats:
    """The covariance of one difference, east, north, up at the mark: known minus observed errors, all variances."""
    a, weight = np.array(found.design), np.diag(np.array(found.sigma) ** -2.0)
    gain = found.cofactor @ a.T @ weight
    session = [one["name"] for one in work.job["session"]].index(row["session"])
    turn = axes(*work.marks.places[list(work.marks.names).index(row["mark"]), :2])
    # errors of observations are errors of "mark minus raw", of control of "truth minus register"
    jacobian = turn @ gain[3 * session : 3 * session + 3]
    variance = np.zeros((3, 3))
    number = list(work.register["mark"]).index(row["mark"])
    own = [float(work.register["hu95"][number]) / CIRCLE] * 2 + [float(work.register["vu95"][number]) / INTERVAL]
    rover = np.hypot(np.array(OCCUPATION)[[0, 0, 1]], [CENTRING, CENTRING, 0.0])
    for axis in range(3):
        for name, sigma, there in ((row["point"], rover, row["role"] == "tie"), (f"control {row['mark']}", own, True)):
            at = found.row(name, axis) if there else None
            if at is None:
                variance[axis, axis] += sigma[axis] ** 2
            elif name == row["point"]:
                jacobian[axis, at] -= 1.0
            else:
                jacobian[axis, at] += 1.0
    return np.asarray(jacobian @ np.diag(np.array(found.sigma) ** 2.0) @ jacobian.T + variance)


def test_every_difference_has_the_uncertainty_of_dense_propagation(made: tuple[Network, Issue, Dense]) -> None:
    work, issue, found = made
    rows = [row for row in issue.check_marks.rows if row["mark"] != "TM1"]
    assert len(rows) == 15
    for row in rows:
        covariance = propagated(work, found, row)
        assert row["hu95"] == pytest.approx(radius(covariance[:2, :2]), rel=1e-3, abs=1e-5), row["point"]
        assert row["vu95"] == pytest.approx(INTERVAL * np.sqrt(abs(covariance[2, 2])), rel=1e-3, abs=1e-5), row["point"]


def test_the_layer_and_the_record_say_the_same(made: tuple[Network, Issue, Dense]) -> None:
    _, issue, _ = made
    recorded = {row["point"]: row for row in issue.record["checks"]}
    for row in every(issue.check_marks.rows):
        if row["mark"] == "TM1":
            continue
        for figure in ("hu95", "vu95"):
            assert recorded[row["point"]][figure] == pytest.approx(row[figure], rel=0, abs=1e-6)


def test_a_difference_that_is_none_has_no_uncertainty(made: tuple[Network, Issue, Dense]) -> None:
    """Nothing is known of a temporary mark; the points beside it keep theirs."""
    _, issue, _ = made
    for row in every(issue.check_marks.where(mark="TM1")):
        assert row["d_horizontal"] is None and row["hu95"] is None and row["vu95"] is None
    assert all(row["hu95"] > 0 for row in every(issue.points.rows))


def test_what_a_mark_does_not_hold_has_a_difference_and_no_tolerance(made: tuple[Network, Issue, Dense]) -> None:
    """So that nobody who compares the two columns finds a failure that no row says."""
    _, issue, _ = made
    allowed = {"PO1": (1.0, None), "HE1": (None, 1.0)}
    for row in every(issue.check_marks.rows):
        if row["mark"] != "TM1":
            assert (row["tolerance_h"], row["tolerance_v"]) == allowed.get(row["mark"], (1.0, 1.0)), row["point"]
            assert row["d_horizontal"] is not None and row["d_height"] is not None
    assert {row["tolerance_h"] for row in issue.record["checks"] if row["mark"] == "HE1"} == {None}


def test_the_geoid_is_no_part_of_a_difference_on_the_mark_that_ties(tmp_path: Path) -> None:
    """Its separation is taken off where it was added: the height comes back to itself."""
    work = Network()
    work.job["target"]["geoid_sigma"] = 0.05
    work.mark("CM1", 0, 0)
    work.mark("CM2", 500, 0)
    work.session("s", ties=["CM1"], points=[(300, 100)], closing=["CM1", "CM2"])
    checks = read_layer(run_written(work.write(tmp_path)).package, "check_marks")
    again, other = checks.one(role="check", mark="CM1"), checks.one(role="check", mark="CM2")
    assert again["vu95"] == pytest.approx(INTERVAL * np.sqrt(2) * OCCUPATION[1], rel=1e-3)
    register = 0.020 / INTERVAL
    sigma = np.sqrt(2 * OCCUPATION[1] ** 2 + 2 * register**2 + 0.05**2)
    assert other["vu95"] == pytest.approx(INTERVAL * sigma, rel=1e-3)
