"""A changed uncertainty of a mark is told as the register states it: the numbers of its columns, not what is made of
them."""

from pathlib import Path

import pytest
from first_issue import first_issue
from running import replace_in, rewrite_export
from second_issues import tie_of
from simulate import Plan, Simulation, simulate

from pipeline import run_job


@pytest.fixture
def job() -> Simulation:
    return simulate(Plan(sessions=1, points=8, ties=1, checks=2, marks=3, seed=7))


def state(register: Path, mark: str, hu95: str, vu95: str) -> None:
    """Write the uncertainties of a mark anew."""
    rewrite_export(register, lambda row: row | ({"hu95": hu95, "vu95": vu95} if row["mark"] == mark else {}))


def because(path: Path) -> list[str]:
    changes = run_job(path).record["changes"]
    assert changes is not None
    return changes["because"]


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        (("0.010", "0.020"), ("0.020", "0.020"), "hu95 0.01 m to 0.02 m"),
        (("0.010", "0.020"), ("0.010", "0.0254"), "vu95 0.02 m to 0.0254 m"),
        (("0.012345", "0.030"), ("0.010", "0.020"), "hu95 0.012345 m to 0.01 m, vu95 0.03 m to 0.02 m"),
        (("0.010", "0.020"), ("", "0.020"), "hu95 0.01 m to none"),
        (("", ""), ("0.010", "0.020"), "hu95 none to 0.01 m, vu95 none to 0.02 m"),
    ],
)
def test_a_radius_of_95_percent_is_told_as_that(
    before: tuple[str, str], after: tuple[str, str], told: str, job: Simulation, tmp_path: Path
) -> None:
    path, mark = job.write(tmp_path), tie_of(job, 0)
    state(tmp_path / "register.csv", mark, *before)
    first_issue(path)
    state(tmp_path / "register.csv", mark, *after)
    assert because(path)[0] == f"{mark} {told} in the register; sessions session-01"


def test_the_job_files_own_is_a_sigma(job: Simulation, tmp_path: Path) -> None:
    for name in ("hu95", "vu95"):
        del job.register[name]
    path = job.write(tmp_path)
    first_issue(path)
    replace_in(path, {"[control]\n": "[control]\nsigma_horizontal = 0.007\n"})
    told = because(path)
    assert told[0].startswith(f"{tie_of(job, 0)} sigma horizontal 0.005 to 0.007") and not any(
        "95" in one for one in told
    )
