"""Tolerances in millimetres, sessions without a tie, and many problems that are alike."""

from pathlib import Path

from simulate import CENTRAL_JAVA, Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.faults import problem_lines
from pipeline.problems import Problem

SMALL = Plan(sessions=1, points=12, ties=1, checks=2, marks=3, place=CENTRAL_JAVA)


def test_tolerances_in_millimetres_prove_nothing(tmp_path: Path) -> None:
    """30 and 50 were meant as millimetres: every blunder would pass."""
    job = simulate(SMALL)
    job.job["checks"] = {"horizontal": 30.0, "vertical": 50.0}
    outcome = run_job(job.write(tmp_path), dry_run=True)
    assert [doubt["kind"] for doubt in outcome.record["doubts"]] == ["tolerance"]
    assert (outcome.record["verdict"], outcome.exit_code) == ("unchecked", 3)


def test_a_session_without_a_tie_is_told_before(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.job["session"][0]["ties"] = []
    told = check_job(job.write(tmp_path)).warnings
    assert any("has no tie and no setup" in warning for warning in told)


def test_problems_that_are_alike_are_cut_to_a_few_with_a_count() -> None:
    many = [Problem("register.csv", row, f"mark 'M{row}': easting 'x' is not a number") for row in range(2, 1002)]
    other = Problem("job.toml", 3, "[job] is missing")
    printed = list(problem_lines([*many, other]))
    assert len(printed) == 7
    assert printed[5] == "  and 995 more like these in register.csv, lines 7 to 1001"
    assert printed[-1] == "  job.toml:3: [job] is missing"
