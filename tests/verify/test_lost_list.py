"""The list of issues, lost: what records, notes and folders say is in it again, and what nothing says is told."""

import os
from pathlib import Path

import pytest
from every import every
from first_issue import run_once
from simulate import Plan, Simulation, simulate
from simulate_files import write_register

from pipeline import run_job
from pipeline.aside import set_aside
from pipeline.history import history
from pipeline.issue.folder.issues_list import RELEASED, Entry, how_released, read_issues_list
from pipeline.release import release
from pipeline.verify import Verified, verify


def revised(made: Simulation, path: Path) -> None:
    made.mistype("CM1", "easting", 0.001)
    write_register(made.register, path.parent / "register.csv")
    assert run_job(path).issued


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Three issues; the first was shown again before the third was made, the second is now."""
    made = simulate(Plan(sessions=1, points=4, noise=False))
    path = made.write(tmp_path)
    assert run_once(path).issued
    revised(made, path)
    release(path, 1, "drafters began with it")
    revised(made, path)
    release(path, 2, "agreed with the client")
    return path


def lines(folder: Path) -> list[tuple[int, str, str]]:
    return [(line.issue, line.verdict, line.reason) for line in read_issues_list(folder)]


def about_list(found: Verified) -> list[str]:
    return [one.what for one in found.of(0) if one.file == "register.csv"]


def test_a_lost_list_is_written_anew_and_says_so(job: Path) -> None:
    folder = job.parent / "out"
    before = lines(folder)
    assert about_list(verify(folder)) == []
    (folder / "register.csv").unlink()
    found = verify(folder)
    assert found.intact and "it is lost" in about_list(found)[0]

    for record in (folder / "issues").glob("*/issue.json"):
        os.utime(record, (1_800_000_000, 1_800_000_000))  # as a restored backup has them
    outcome = run_job(job)
    assert not outcome.issued and outcome.current == 2
    after = read_issues_list(folder)
    lost = (1, "released", "before issue 003 was made; the reason is no longer known")
    assert lines(folder) == [lost if line == (1, "released", "drafters began with it") else line for line in before]
    assert [line.is_anew for line in after] == [True, True, True, True, False]
    assert all(line.made_at.timestamp() == 1_800_000_000 for line in every(line for line in after if line.is_anew))
    found = verify(folder)
    assert found.intact and "4 lines were rebuilt" in about_list(found)[0]
    how = [how_released(line.because) for line in after if line.verdict == RELEASED]
    assert how == ["released", "released by hand"]  # of the first nothing says any more by whom
    assert next(entry.because for entry in history(job)) == ("first issue",)
    assert not run_job(job).issued and read_issues_list(folder) == after


def test_what_was_set_aside_has_its_line_again(job: Path) -> None:
    folder = job.parent / "out"
    (folder / "issues/003/issue.json").write_text("{")
    set_aside(job, 3)
    (folder / "register.csv").unlink()
    assert run_job(job).record["issue"] == 4  # a number is given once
    (line,) = (line for line in read_issues_list(folder) if line.verdict == "set aside")
    assert line.issue == 3 and line.is_anew and line.reason.startswith("kept in set-aside/003-")


def test_a_run_that_died_before_the_newest_line_has_lost_nothing(job: Path) -> None:
    folder = job.parent / "out"
    rows = (folder / "register.csv").read_text().splitlines(keepends=True)
    (folder / "register.csv").write_text("".join(row for row in rows if not row.startswith("003")))
    before = lines(folder)
    assert not run_job(job).issued
    added: list[Entry] = read_issues_list(folder)[len(before) :]
    assert [line.issue for line in added] == [3] and not added[0].is_anew and about_list(verify(folder)) == []
