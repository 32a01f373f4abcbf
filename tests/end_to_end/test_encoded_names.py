"""Names whose accents one file has in their letters and another has apart: one mark, one reading."""

import unicodedata
from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.problems import JobError

PLAN = Plan(sessions=1, points=14, ties=1, checks=3, marks=5, noise=False)


def named(exported: str, listed: str, registered: str) -> Simulation:
    """A day whose ties, checks and marks have accents, in the form of each of export, job file and register."""
    made = simulate(PLAN)
    rows, session = made.rows, made.job["session"][0]
    uses = [*session["ties"], *session["checks"]]
    rows["name"] = rows["name"].astype("U32")
    for one in uses:
        point, mark = f"Điểm {one['point']}", f"Mốc {one['mark']}"
        rows["name"][rows["name"] == one["point"]] = unicodedata.normalize(exported, point)  # type: ignore[arg-type]
        one["point"] = unicodedata.normalize(listed, point)  # type: ignore[arg-type]
        one["mark"] = unicodedata.normalize(listed, mark)  # type: ignore[arg-type]
    marks = [unicodedata.normalize(registered, f"Mốc {mark}") for mark in made.register["mark"]]  # type: ignore[arg-type]
    made.register["mark"] = np.array(marks)
    made.job["checks"] = {"codes": ["NOT USED"]}
    return made


@pytest.mark.parametrize("exported", ["NFC", "NFD"])
@pytest.mark.parametrize("listed", ["NFC", "NFD"])
@pytest.mark.parametrize("registered", ["NFC", "NFD"])
def test_names_are_one_in_either_form(exported: str, listed: str, registered: str, tmp_path: Path) -> None:
    made = named(exported, listed, registered)
    outcome = run_job(made.write(tmp_path), dry_run=True)
    assert (outcome.exit_code, outcome.record["verdict"]) == (0, "proven")
    session = made.job["session"][0]
    assert len(outcome.record["checks"]) == len(session["ties"]) + len(session["checks"])
    # marks are called as the register calls them
    assert {one["mark"] for one in outcome.record["checks"]} <= set(made.register["mark"].tolist())


def test_the_case_of_a_name_still_counts(tmp_path: Path) -> None:
    made = named("NFC", "NFC", "NFC")
    made.job["session"][0]["ties"][0]["point"] = made.job["session"][0]["ties"][0]["point"].swapcase()
    with pytest.raises(JobError):
        run_job(made.write(tmp_path))
