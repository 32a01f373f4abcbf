"""A check that fails within what the stated uncertainties allow: it fails, and noise is the first thing to be told.

Of a tie and a check the difference has the noise of two readings, two poles and two marks. Its 95 % radius, of a circle
that is as wide in all directions, is the root of -2 ln 0.05 times one component's standard uncertainty.
"""

import math
from pathlib import Path
from typing import Any

import pytest
from network_jobs import Network
from repeated_days import CENTRING, days, reading
from running import record_of

from pipeline import run_job

HU95 = 0.010


def own_95(work: Network) -> float:
    sigma = float(work.rows["sigma_east"][0])
    mark = HU95 / math.sqrt(-2.0 * math.log(0.05))
    return math.sqrt(-2.0 * math.log(0.05)) * math.sqrt(2.0 * (sigma**2 + CENTRING**2 + mark**2))


def off_by(tmp_path: Path, metres: float, up: float = 0.0) -> tuple[dict[str, Any], list[dict[str, Any]], float]:
    work = days(1, 6, hu95=HU95)
    radius = own_95(work)
    point = work.job["session"][0]["checks"][-1]["point"]
    where = reading(work, point, 1)
    assert where.sum() == 1
    work.displace(where, (metres * radius, 0.0, up))
    work.job["checks"] = {"horizontal": 0.9 * radius, "vertical": 0.05}
    record = record_of(work.write(tmp_path), code=3)
    (check,) = [row for row in record["checks"] if row["passed"] is False]
    return check, record["diagnoses"], radius


def test_noise_is_told_before_a_base_that_moved(tmp_path: Path) -> None:
    check, diagnoses, radius = off_by(tmp_path, 0.97)
    assert check["hu95"] == pytest.approx(radius, abs=2e-4) and check["d_horizontal"] < check["hu95"]
    assert check["cause"].startswith(
        f"perhaps no blunder: the difference of {0.97 * radius:.3f} m in position is within its own 95 % uncertainty of"
    )
    assert "checks.horizontal would settle it" in check["cause"]
    assert "moved" not in check["cause"] and "typed" not in check["cause"]
    (one,) = diagnoses
    assert one["explanations"] == [] and one["split"] is None


@pytest.mark.parametrize(("metres", "up"), [(3.0, 0.0), (0.0, 0.25), (8.0, 0.0)])
def test_a_blunder_is_told_as_one(metres: float, up: float, tmp_path: Path) -> None:
    check, diagnoses, _ = off_by(tmp_path, metres, up)
    assert "no blunder" not in check["cause"] and "perhaps by chance" not in check["cause"][:20]
    (one,) = diagnoses
    assert one["explanations"] and not one["explanations"][0]["chance"]


def test_what_is_beyond_its_own_95_and_no_more_than_chance_says_so(tmp_path: Path) -> None:
    """One of twenty is: at 1.1 times its radius the odds are still for noise, and any size that fits is told so."""
    check, (one,), _ = off_by(tmp_path, 1.1)
    assert "no blunder" not in check["cause"]
    free = [found for found in one["explanations"] if found["kind"] in ("base moved", "point unexplained")]
    assert free and all(found["chance"] for found in free)


def test_of_days_of_noise_alone_no_failing_names_a_base_that_moved(tmp_path: Path) -> None:
    """Tolerances that are too narrow for one tie: what fails within its own 95 % is told as noise, every time."""
    told = []
    for seed in range(12):
        work = days(1, 4, worse=1.0, seed=seed, hu95=HU95)
        work.job["checks"] = {"horizontal": 0.012, "vertical": 0.02}
        record = run_job(work.write(tmp_path / str(seed)), dry_run=True).record
        for row in record["checks"]:
            if row["passed"] is False and row["d_horizontal"] <= row["hu95"] and abs(row["d_height"]) <= row["vu95"]:
                told.append(row["cause"])
    assert len(told) >= 8 and all(cause.startswith("perhaps no blunder: ") for cause in told)
