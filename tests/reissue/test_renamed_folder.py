"""A job that begins anew although a folder beside has its issues says so; honest neighbours are passed over."""

import os
import shutil
from pathlib import Path

import pytest
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.run.outcome import Outcome

PLAN = Plan(sessions=1, points=6, noise=False)


def told(outcome: Outcome) -> list[str]:
    return [note for note in outcome.record["notes"] if "has issues of the job already" in note]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = simulate(PLAN).write(tmp_path / "site")
    assert told(run_job(path)) == []
    return path


def test_a_folder_that_was_renamed_is_named(path: Path) -> None:
    os.rename(path.parent / "out", path.parent / "out-old")
    (note,) = told(run_job(path))
    assert note.startswith("this is issue 001 of its folder, but out-old (1 issue) has issues of the job already")
    # it is news once
    replace_in(path.parent / "rover001.csv", {"ROAD-EDGE": "FENCE"})
    assert run_job(path).record["issue"] == 2 and told(run_job(path)) == []


def test_a_folder_elsewhere_that_was_renamed_is_named(path: Path) -> None:
    """The issues lie beside others', not beside the job file, which has another name by now."""
    issues = path.parent.parent / "issues"
    replace_in(path, {'"out"': '"../issues/site"'})
    shutil.rmtree(path.parent / "out")
    assert told(run_job(path)) == []
    os.rename(issues / "site", issues / "site-2025")
    again = path.rename(path.with_name("again.toml"))
    (note,) = told(run_job(again))
    assert "../issues/site-2025 (1 issue)" in note


def test_neighbours_are_no_former_folder(path: Path) -> None:
    """Another job's folder, one of a job of that name whose file is there, a copy of the whole, any other folder."""
    root = path.parent.parent
    shutil.copytree(path.parent, root / "copy", symlinks=True)
    shutil.rmtree(root / "copy" / "out")
    (root / "copy" / "photos").mkdir()
    assert told(run_job(root / "copy" / path.name)) == []
    for name, job in (("a", "simulated"), ("b", "simulated"), ("c", "other")):
        shutil.copy(path, path.with_name(f"{name}.toml"))
        replace_in(path.with_name(f"{name}.toml"), {'"out"': f'"issues/{name}"', '"simulated"': f'"{job}"'})
        outcome = run_job(path.with_name(f"{name}.toml"))
        assert outcome.issued and told(outcome) == []
