"""An older register that comes back undoes a revision: ties follow it, and only the issues before show it."""

from pathlib import Path

import numpy as np
import pytest
from first_issue import run_once
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.run.outcome import Outcome

PLAN = Plan(sessions=2, points=10, ties=1, checks=2, marks=4, noise=False)


def revise(job: Simulation, mark: str, by: float) -> None:
    for axis in ("easting", "northing", "height"):
        job.mistype(mark, axis, by)


def again(outcome: Outcome) -> list[str]:
    return [one for one in outcome.record["notes"] if "again the coordinates of" in one]


@pytest.mark.parametrize("by", [0.009, -0.02])
@pytest.mark.parametrize("between", [0, 1])
def test_a_revision_that_is_undone_is_told(by: float, between: int, tmp_path: Path) -> None:
    job = simulate(PLAN)
    assert again(run_once(job.write(tmp_path))) == []
    revise(job, "CM1", by)
    assert again(run_job(job.write(tmp_path))) == []
    for number in range(between):  # more was measured in the meantime
        job.rows["code"] = np.array([f"{code}{number}" for code in job.rows["code"]])
        assert again(run_job(job.write(tmp_path))) == []
    revise(job, "CM1", -by)
    last = run_job(job.write(tmp_path))
    assert (last.record["issue"], last.exit_code) == (3 + between, 0)
    (note,) = again(last)
    assert note.startswith("mark CM1 has again the coordinates of issue 001, which issue 002 revised")


def test_a_second_revision_is_no_return(tmp_path: Path) -> None:
    job = simulate(PLAN)
    for by in (0.0, 0.009, 0.004, -0.011):
        revise(job, "CM1", by)
        assert again(run_job(job.write(tmp_path))) == []


def test_a_mistyped_mark_that_failed_is_put_right_in_peace(tmp_path: Path) -> None:
    job = simulate(PLAN)
    run_once(job.write(tmp_path))
    revise(job, "CM1", 0.5)
    assert run_job(job.write(tmp_path)).exit_code == 3
    revise(job, "CM1", -0.5)
    third = run_job(job.write(tmp_path))
    assert (third.exit_code, again(third)) == (0, [])


def test_fewer_digits_and_all_of_them_again_are_no_revision(tmp_path: Path) -> None:
    job = simulate(PLAN)
    path = job.write(tmp_path)
    register = tmp_path / "register.csv"
    full = register.read_text(encoding="utf-8")
    run_job(path)
    heading, *rows = full.splitlines()
    cut = [",".join([row.split(",")[0], *(f"{float(cell):.3f}" for cell in row.split(",")[1:])]) for row in rows]
    for text in ("\n".join([heading, *cut, ""]), full):
        register.write_text(text, encoding="utf-8")
        assert again(run_job(path)) == []
