"""A drift that is written as none is not told, however well stated uncertainties make it known."""

from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from running import record_of
from simulate import Plan, Simulation, simulate

#: Uncertainties of tenths of a millimetre, as some exports state them of averaged readings.
ABSURD = Plan(
    sessions=1,
    points=10,
    ties=1,
    checks=4,
    marks=4,
    noise=False,
    sigma_horizontal=5e-4,
    sigma_vertical=5e-4,
    centring=0,
)


def rise(job: Simulation, millimetres: float) -> None:
    """Let the base rise by so much an hour."""
    hours = (job.rows["time"] - job.rows["time"].min()) / np.timedelta64(1, "h")
    up = np.column_stack([0 * hours, 0 * hours, hours * millimetres / 1000])
    job.displace(np.ones(len(hours), bool), turn_enu(job.rows["longitude"], job.rows["latitude"], up))


@pytest.mark.parametrize(("millimetres", "told"), [(0.0, False), (0.3, False), (2.0, True)])
def test_what_rounds_to_nothing_an_hour_is_not_told(millimetres: float, told: bool, tmp_path: Path) -> None:
    """The last occupation is eight hours after the first; up, so that no turn of the grid matters."""
    job = simulate(ABSURD)
    job.job["quality"] |= {"centring": 0.0}
    job.register["hu95"], job.register["vu95"] = np.full((2, 4), 0.00005)
    rise(job, millimetres)
    record = record_of(job.write(tmp_path))
    assert all(check["passed"] for check in record["checks"]) and len(record["checks"]) == 5
    assert any("drift" in note for note in record["notes"]) is told


@pytest.mark.parametrize(
    ("seed", "millimetres", "told"), [(3, 0.0, False), (5, 0.0, False), (8, 0.0, False), (3, 5.0, True)]
)
def test_scatter_beyond_what_is_stated_is_no_drift(seed: int, millimetres: float, told: bool, tmp_path: Path) -> None:
    """Readings ten times less certain than they state differ by more than that allows, with a trend by chance.

    A drift of 5 mm an hour, some 40 mm in the day, stands out of that scatter all the same.
    """
    job = simulate(Plan(sessions=1, points=8, ties=1, checks=10, marks=4, seed=seed))
    for sigma in ("sigma_east", "sigma_north", "sigma_up"):
        job.rows[sigma] = job.rows[sigma] / 10
    rise(job, millimetres)
    record = record_of(job.write(tmp_path))
    assert all(check["passed"] for check in record["checks"]) and len(record["checks"]) == 11
    assert any("drift" in note for note in record["notes"]) is told
