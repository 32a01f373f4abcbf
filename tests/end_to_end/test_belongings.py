"""Whole jobs in folders with files of somebody else's, or of another job: refused in words, and nothing is touched."""

from pathlib import Path

import pytest
from running import replace_in
from simulate import Plan, simulate

from pipeline import JobError, check_job, run_job
from pipeline.history import history
from pipeline.run.fleet import run_many
from pipeline.run.outcome import Outcome

SMALL = Plan(sessions=1, points=4, noise=False)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A small job that keeps its issues beside its exports; its register is called control.csv."""
    path = simulate(SMALL).write(tmp_path)
    (tmp_path / "register.csv").rename(tmp_path / "control.csv")
    replace_in(path, {'folder = "out"': 'folder = "."', '"register.csv"': '"control.csv"'})
    return path


def content(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_beside_the_exports_a_job_runs_night_after_night(job: Path) -> None:
    """Its pattern matches the issues list and files of the issues too, which are no exports."""
    replace_in(job, {'["rover*.csv"]': '["**/r*.csv"]'})
    with job.open("a", encoding="utf-8") as file:
        file.write('\n[issue]\nformats = ["csv"]\n')
    first = run_job(job)
    assert first.issued and [each["path"] for each in first.record["inputs"]] == ["rover001.csv", "control.csv"]
    assert not run_job(job).issued


def test_a_register_of_control_marks_under_our_name_is_left_alone(tmp_path: Path) -> None:
    """Run, dry run and check name it, with the line of the folder in the job file."""
    path = simulate(SMALL).write(tmp_path)
    replace_in(path, {'folder = "out"': 'folder = "."'})
    before = content(tmp_path)
    for attempt in (lambda: run_job(path), lambda: run_job(path, dry_run=True), lambda: check_job(path)):
        with pytest.raises(JobError) as caught:
            attempt()
        (problem,) = caught.value.problems
        assert "register.csv" in problem.what and problem.line == 3 and "name another folder" in problem.fix
    assert content(tmp_path) == before


@pytest.mark.parametrize("name", ["other", "simulated"])
def test_two_jobs_of_one_folder_do_not_take_turns(job: Path, name: str) -> None:
    """In one batch and one after the other, whatever their names: the folder is that job's which was there first."""
    other = job.with_name("other.toml")
    other.write_text(job.read_text(encoding="utf-8").replace('"simulated"', f'"{name}"'), encoding="utf-8")
    became = dict(run_many([job, other]))
    first, second = became[job], became[other]
    assert isinstance(first, Outcome) and isinstance(second, JobError) and "is also that of" in str(second)
    became = dict(run_many([other, job]))
    first, second = became[other], became[job]
    assert isinstance(first, JobError) and isinstance(second, Outcome) and not second.issued
    for attempt in (run_job, check_job, history):
        with pytest.raises(JobError, match=r"another job file|the job simulated"):
            attempt(other)
    job.rename(job.with_name("renamed.toml"))
    assert not run_job(job.with_name("renamed.toml")).issued
