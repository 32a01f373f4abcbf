"""The adjustment that an issue records, against a dense one in plain NumPy from the files, and by formulas."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from circles import circle
from every import every
from issued import Issue, read_layer
from network_dense import CIRCLE, INTERVAL, Dense, axes, dense
from network_jobs import Network
from numpy.testing import assert_allclose
from running import run_written
from scipy.special import chdtri, ndtri

AXES = ("east", "north", "up")
#: Baarda's non-centrality at 0.1 % and a power of 80 %: 3.2905 + 0.8416, printed as 4.13.
DELTA = ndtri(1 - 0.001 / 2) + ndtri(0.80)


def small_job(seed: int = 5) -> Network:
    """Six sessions and eight marks with every kind of observation in it, some ties redundant and some not."""
    work = Network(seed=seed)
    work.job["quality"] = {"centring": 0.002, "ppm": 1.5, "sigma_horizontal": 0.009, "sigma_vertical": 0.014}
    work.mark("CM1", 0, 0)
    work.mark("CM2", 1_900, -800, hu95=0.020, vu95=0.012)
    work.mark("CM3", -1_200, 2_300)
    work.mark("PO1", 900, 1_000, holds="position")
    work.mark("HE1", -700, 400, holds="height", vu95=0.006)
    work.mark("TM1", 400, -300, known=False)
    work.mark("TM2", -3_000, -2_500, known=False)
    work.mark("TM3", 5_000, 4_000, known=False)
    some = [(300, 200), (-2_000, 1_500)]
    work.session("s1", ties=["CM1", "CM2", "TM1", "CM1"], points=some)
    work.session("s2", ties=["CM2", "HE1", "TM1", "TM2"], over="TM1", antenna=1.6, points=some)
    work.session("s3", ties=["TM2", "PO1"], over="CM3", antenna=1.9, points=some)
    work.session("s4", over="TM2", antenna=1.2, points=some)
    stated = {"sigma_horizontal": 0.010, "sigma_vertical": 0.020}
    work.session("s5", ties=["CM1", "TM3"], points=some, shift=(0, 0, 0), stated="none")
    work.session("s6", ties=["TM3"], points=some)
    at = work.plan.place
    east, north, up = axes(at.longitude, at.latitude) @ work.shifts[5]
    work.job["session"][5]["shift"] = {"east": float(east), "north": float(north), "up": float(up), **stated}
    noise = np.random.default_rng(seed)
    rows = work.rows
    work.displace(np.ones(len(rows["name"]), bool), noise.normal(size=(len(rows["name"]), 3)) * [0.006, 0.006, 0.01])
    rows["sigma_east"], rows["sigma_north"] = rows["sigma_east"] * 1.3, rows["sigma_north"] * 0.8
    for number in work.bases:
        work.job["session"][number]["setup"] = work.setup(number, noise.normal(0, 0.002, 3))
    for column, sigma in (("easting", 0.004), ("northing", 0.004), ("height", 0.008)):
        work.register[column] = work.register[column] + noise.normal(0, sigma, len(work.register[column]))
    return work


@dataclass
class Both:
    """The job, its issue, and the dense adjustment of its files."""

    work: Network
    issue: Issue
    expected: Dense


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Both:
    folder, work = tmp_path_factory.mktemp("small"), small_job()
    issue = run_written(work.write(folder))
    return Both(work, issue, dense(work, folder))


def holds(row: dict[str, Any], name: str, expected: Dense, residual: bool) -> int:
    """Compare one observation's figures; return how many of its components are redundant."""
    redundant = 0
    for axis, word in enumerate(AXES):
        number = expected.row(name, axis)
        if number is None:
            assert all(row[f"{key}_{word}"] is None for key in ("redundancy", "standardised", "detectable"))
            continue
        if residual:
            assert row[f"residual_{word}"] == pytest.approx(expected.residuals[number], rel=0, abs=2e-6)
        share = expected.redundancy[number]
        assert row[f"redundancy_{word}"] == pytest.approx(share, rel=0, abs=2e-6)
        if share < 1e-4:
            assert row[f"detectable_{word}"] is None or row[f"detectable_{word}"] > 0.4
            continue
        redundant += 1
        assert row[f"standardised_{word}"] == pytest.approx(expected.standardised[number], rel=0, abs=2e-3)
        detectable = DELTA * expected.sigma[number] / np.sqrt(share)
        assert row[f"detectable_{word}"] == pytest.approx(detectable, rel=1e-3, abs=0)
    return redundant


def test_every_tie_in_check_marks(both: Both) -> None:
    ties = [row for row in both.issue.check_marks.rows if row["role"] == "tie"]
    assert len(ties) == 13
    assert sum(holds(row, row["point"], both.expected, residual=False) for row in ties) > 25
    recorded = {row["point"]: row for row in both.issue.record["checks"]}
    for row in ties:
        holds(recorded[row["point"]], row["point"], both.expected, residual=False)


def test_every_set_up_and_control_mark_in_the_record(both: Both) -> None:
    found = both.issue.record["adjustment"]
    assert [(row["session"], row["mark"]) for row in found["set_ups"]] == [("s2", "TM1"), ("s3", "CM3"), ("s4", "TM2")]
    assert sum(holds(row, f"setup {row['session']}", both.expected, residual=True) for row in found["set_ups"]) >= 6
    assert {row["mark"] for row in found["control"]} == {"CM1", "CM2", "CM3", "PO1", "HE1"}
    assert sum(holds(row, f"control {row['mark']}", both.expected, residual=True) for row in found["control"]) >= 9


def test_the_whole_adjustment(both: Both) -> None:
    """Variance factor, degrees of freedom, the chi-square bounds at 5 % and the critical value at 0.1 %."""
    found, expected = both.issue.record["adjustment"], both.expected
    assert found["degrees_of_freedom"] == expected.freedom
    assert found["square_sum"] == pytest.approx(expected.square_sum, rel=1e-4)
    assert found["variance_factor"] == pytest.approx(expected.square_sum / expected.freedom, rel=1e-4)
    low, high = chdtri(expected.freedom, [0.975, 0.025])
    test = found["chi_square"]
    assert (test["low"], test["high"]) == pytest.approx((low, high), rel=1e-6)
    assert test["passed"] is bool(low <= expected.square_sum <= high)
    assert found["critical_value"] == pytest.approx(3.2905, rel=0, abs=5e-5)


def test_the_redundancies_sum_to_the_degrees_of_freedom(both: Both) -> None:
    """But for the stated shifts, which no list shows: theirs come from the dense adjustment."""
    record = both.issue.record
    shown = record["adjustment"]["set_ups"] + record["adjustment"]["control"]
    shown += [row for row in record["checks"] if row["role"] == "tie"]
    total = sum(row[f"redundancy_{axis}"] or 0.0 for row in shown for axis in AXES)
    expected = zip(both.expected.of, both.expected.redundancy, strict=True)
    stated = [value for (name, _), value in expected if name.startswith("shift")]
    assert len(stated) == 6
    assert total + sum(stated) == pytest.approx(both.expected.freedom, rel=0, abs=1e-4)


def test_shifts_and_their_uncertainties(both: Both) -> None:
    """X, Y, Z of every session; east, north and up uncertainties at the mark under its base, or its first tie."""
    count = len(both.work.job["session"])
    values = both.expected.unknowns[: 3 * count].reshape(-1, 3)
    for number, row in every(enumerate(both.issue.sessions.rows)):
        assert_allclose([row[f"shift_{axis}"] for axis in "xyz"], values[number], rtol=0, atol=1e-5)
        block = both.expected.cofactor[3 * number : 3 * number + 3, 3 * number : 3 * number + 3]
        turn = axes(both.work.plan.place.longitude, both.work.plan.place.latitude)
        sigma = np.sqrt(np.diag(turn @ block @ turn.T))
        assert_allclose([row[f"sigma_{axis}"] for axis in AXES], sigma, rtol=2e-3, atol=0)


def test_marks_and_their_uncertainties(both: Both) -> None:
    """Adjusted coordinates, hu95 by the eigenvalues and the 95 % circle, vu95 = 1.96 sigma."""
    marks, first = both.work.marks, 3 * len(both.work.job["session"])
    found = read_layer(both.issue.package, "marks")
    assert {row["mark"] for row in found.rows} == set(marks.names)
    for row in found.rows:
        number = list(marks.names).index(row["mark"])
        at = slice(first + 3 * number, first + 3 * number + 3)
        turn = axes(*marks.places[number, :2])
        local, spread = turn @ both.expected.unknowns[at], turn @ both.expected.cofactor[at, at] @ turn.T
        # truth plus the correction, turned from true to grid north (centimetres: convergence from differences)
        step = 1e-7
        plane = both.work.plan.place.projection
        here = np.array(plane.forward(*marks.places[number, :2]))
        up = np.array(plane.forward(marks.places[number, 0], marks.places[number, 1] + step)) - here
        north = up / np.hypot(*up)
        grid = here + local[1] * north + local[0] * np.array([north[1], -north[0]])
        assert_allclose([row["easting"], row["northing"]], grid, rtol=0, atol=2e-5)
        assert row["height"] == pytest.approx(marks.height[number] + local[2], rel=0, abs=2e-5)
        b, a = np.sqrt(np.linalg.eigvalsh(spread[:2, :2]))
        assert row["hu95"] == pytest.approx(circle(a, b), rel=1e-3)
        assert row["vu95"] == pytest.approx(INTERVAL * np.sqrt(spread[2, 2]), rel=1e-4)
    statuses = {row["mark"]: row["status"] for row in found.rows}
    assert {name for name, status in statuses.items() if status == "adjusted"} == {"TM1", "TM2", "TM3"}
    counts = {row["mark"]: row["occupations"] for row in found.rows}
    assert counts == {"CM1": 3, "CM2": 2, "CM3": 1, "PO1": 1, "HE1": 1, "TM1": 3, "TM2": 3, "TM3": 2}


@pytest.mark.parametrize(("metres", "flagged"), [(0.0, False), (3.0, True)], ids=["sound", "blunder"])
def test_a_blunder_of_a_tie_shows_in_its_standardised_residual(metres: float, flagged: bool, tmp_path: Path) -> None:
    """Twice its detectable error in one tie: that tie's is the largest and beyond the critical value, as it should."""
    work, point = small_job(), "s1-CM2-1"
    clean = run_written(work.write(tmp_path / "clean"))
    detectable = clean.check_marks.one(point=point)["detectable_up"]
    work.displace(work.row(point), [0.0, 0.0, 2 * detectable if metres else 0.0])
    work.job["checks"] = {"horizontal": 1.0, "vertical": 1.0}
    found = run_written(work.write(tmp_path / "blunder"))
    ties = [row for row in found.check_marks.rows if row["standardised_up"] is not None]
    worst = max(ties, key=lambda row: abs(row["standardised_up"]))
    limit = found.record["adjustment"]["critical_value"]
    assert (abs(worst["standardised_up"]) > limit) is flagged
    if flagged:
        assert worst["point"] == point
        test = found.record["adjustment"]
        assert test["square_sum"] > test["chi_square"]["high"] and test["chi_square"]["passed"] is False
        assert any("chi-square" in note for note in found.record["notes"])


def test_a_single_tie_has_no_redundancy_and_no_test(tmp_path: Path) -> None:
    """Nothing could tell an error of it; the register's uncertainty is in the shift's."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.session("s1", ties=["CM1"], points=[(300, 200)])
    issue = run_written(work.write(tmp_path))
    found = issue.record["adjustment"]
    assert found["degrees_of_freedom"] == 0
    assert found["variance_factor"] is None and found["chi_square"] is None and found["square_sum"] is None
    (row,) = issue.check_marks.rows
    assert [row[f"redundancy_{axis}"] for axis in AXES] == [0.0] * 3
    assert all(row[f"{key}_{axis}"] is None for key in ("standardised", "detectable") for axis in AXES)
    (session,) = issue.sessions.rows
    expected = np.sqrt([0.004**2 + 0.003**2 + (0.010 / CIRCLE) ** 2] * 2 + [0.007**2 + (0.020 / INTERVAL) ** 2])
    assert_allclose([session[f"sigma_{axis}"] for axis in AXES], expected, rtol=1e-3, atol=0)
