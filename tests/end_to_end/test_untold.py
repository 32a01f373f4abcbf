"""A run that fails after its issue has appeared: that it stands is said, and the next run tells how it stands."""

import errno
import os
from pathlib import Path
from typing import Any

import pytest
from command import failing
from simulate import Simulation

from pipeline import JobError, run_job
from pipeline.cli.run_command import Batch, run_jobs
from pipeline.issue.folder.unnotified_issues import NAME, read_unnotified
from pipeline.problems import Unfinished
from pipeline.run.telling import acknowledge


@pytest.fixture
def job(tmp_path: Path) -> Simulation:
    """A job whose last check fails."""
    return failing()


def fail_at(monkeypatch: pytest.MonkeyPatch, name: str) -> pytest.MonkeyPatch:
    """Let the disk refuse what would bear a name, once everything before it is done."""
    real = os.replace

    def failing_replace(source: Any, target: Any) -> None:
        if Path(target).name == name:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(source, target)

    monkeypatch.setattr(os, "replace", failing_replace)
    return monkeypatch


@pytest.mark.parametrize("name", ["register.csv", "current"])
def test_an_issue_that_appeared_is_said_to_stand_and_told_once_more(
    job: Simulation, tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its line in the list, or what shows it, was not written; the next run writes that, and ends with 3."""
    path = job.write(tmp_path)
    with monkeypatch.context() as patch:
        fail_at(patch, name)
        assert run_jobs(Batch([path], quiet=True)) == 2
    said = capsys.readouterr().err
    assert "the issue is written and complete" in said and "the issue was written and is valid" in said
    assert "nothing written" not in said
    folder = tmp_path / "out"
    assert read_unnotified(folder) == [1]
    assert run_job(path, dry_run=True).untold and read_unnotified(folder) == [1]
    assert run_jobs(Batch([path], quiet=True)) == 3
    assert "issue 001, verdict FAILED, was written by a run that did not finish" in capsys.readouterr().out
    assert not (folder / NAME).exists() and (folder / "current").resolve().name == "001"
    assert run_jobs(Batch([path])) == 3
    assert "did not finish" not in capsys.readouterr().out


def test_its_verdict_is_not_swallowed_by_a_better_issue(
    job: Simulation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody looked into it before the next run: that still signals the issue of which nobody was told, once."""
    path = job.write(tmp_path)
    with monkeypatch.context() as patch, pytest.raises(Unfinished):
        fail_at(patch, "register.csv")
        run_job(path)
    job.job["session"][0]["checks"] = job.job["session"][0]["checks"][:1]
    job.job["checks"] = {"codes": [], "confirmed": ["unanswered-check"]}
    job.job["issue"] = {"hold_back": []}
    job.rows["code"][job.rows["name"] == "S01-C2"] = "FENCE"
    path = job.write(tmp_path)
    outcome = run_job(path, told=False)
    assert outcome.record["issue"] == 2 and outcome.exit_code == 3
    assert [record["issue"] for record in outcome.untold] == [1] and "issue 001, verdict FAILED" in outcome.headline
    assert run_job(path, told=False).exit_code == 3  # nobody was told as yet
    acknowledge(run_job(path, told=False))
    assert run_job(path).exit_code == 0


def test_a_run_that_ends_leaves_no_note(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    assert run_job(path).exit_code == 3
    assert {each.name for each in (tmp_path / "out").iterdir()} == {
        ".lock", ".tiedown.json", ".confirmed", "issues", "current", "register.csv"
    }  # fmt: skip


def test_a_note_that_cannot_be_written_costs_nothing(
    job: Simulation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is only kept to save time, or to tell who holds the job."""
    path = job.write(tmp_path)
    with monkeypatch.context() as patch:
        fail_at(fail_at(patch, ".confirmed"), ".held-by")
        assert run_job(path).issued
    assert not run_job(path).issued


def test_an_export_of_more_columns_than_a_geopackage_holds_is_not_the_disks_doing(
    job: Simulation, tmp_path: Path
) -> None:
    """2,000 columns: SQLITE_MAX_COLUMN as it is by default (sqlite.org/limits.html)."""
    path = job.write(tmp_path)
    export = tmp_path / "rover001.csv"
    lines = export.read_text(encoding="utf-8").splitlines()
    more = [",".join(f"more{number}" for number in range(2000)), *[",".join("1" * 2000)] * (len(lines) - 1)]
    export.write_text("\n".join(map(",".join, zip(lines, more, strict=True))) + "\n", encoding="utf-8")
    with pytest.raises(JobError) as caught:
        run_job(path)
    (problem,) = caught.value.problems
    assert "columns" in problem.what and "without the columns" in problem.fix and "disk" not in problem.fix
