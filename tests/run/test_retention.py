"""`issue.keep`: what older issues drew from goes; what anybody needs again, and the trail of all of them, stays."""

import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from command import SMALL
from running import replace_in
from simulate import simulate

from pipeline import open_issue, run_job
from pipeline.aside import set_aside
from pipeline.between import between
from pipeline.history import history
from pipeline.problems import JobError
from pipeline.release import release
from pipeline.run.outcome import Outcome
from pipeline.trace import trace
from pipeline.verify import verify

RECORD_AND_REPORT = {"issue.json", "removed.json"}


def another(path: Path, number: int) -> Outcome:
    """Run the job with a reason for another issue."""
    replace_in(path, {f"n = {number - 1}\n": f"n = {number}\n"})
    return run_job(path)


def keep(path: Path, number: int | str) -> None:
    path.write_text(path.read_text(encoding="utf-8") + f"\n[issue]\nkeep = {number}\n", encoding="utf-8")


def files(path: Path, number: int) -> set[str]:
    return {one.name for one in (path.parent / "out" / "issues" / f"{number:03d}").iterdir()}


def whole(path: Path) -> list[int]:
    """Return the issues that have their GeoPackage, under both of its names."""
    numbers = sorted(int(one.name) for one in (path.parent / "out" / "issues").iterdir())
    found = [n for n in numbers if {f"simulated-{n:03d}.gpkg", "simulated.gpkg"} <= files(path, n)]
    thin = [f"simulated-{n:03d}.html" for n in numbers if n not in found]
    for number in set(numbers) - set(found):
        assert files(path, number) == RECORD_AND_REPORT | {f"simulated-{number:03d}.html", "simulated.html"}, thin
    return found


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with four issues, all good."""
    path = simulate(SMALL).write(tmp_path_factory.mktemp("four"))
    path.write_text(path.read_text(encoding="utf-8") + "\n[particulars]\nn = 0\n", encoding="utf-8")
    for number in range(1, 5):
        another(path, number)
    return path


@pytest.fixture
def job(four: Path, tmp_path: Path) -> Path:
    shutil.copytree(four.parent, tmp_path / "job", symlinks=True)
    return tmp_path / "job" / four.name


def test_an_edited_keep_thins_at_once_and_makes_no_issue(job: Path) -> None:
    """And what is left says what went, when and why; what needs it says so too."""
    keep(job, 2)
    assert not run_job(job, dry_run=True).removed and whole(job) == [1, 2, 3, 4]
    outcome = run_job(job)
    assert not outcome.issued and whole(job) == [3, 4]
    (line,) = outcome.more()
    assert line.startswith("issue.keep = 2: files of 2 issues removed (001, 002, ") and "record and report stay" in line
    assert run_job(job).more() == []
    found = verify(job.parent / "out")
    assert found.intact and [one.issue for one in found.findings] == [1, 2]
    entries = history(job)
    assert [one.removed is not None for one in entries] == [True, True, False, False]
    assert entries[0].as_record()["removed"]["files"] == ["simulated-001.gpkg"]
    lines = (job.parent / "out" / "register.csv").read_text(encoding="utf-8").splitlines()
    assert [one.split(",")[2] for one in lines[1:]] == ["proven"] * 4 + ["files removed"] * 2
    for needs in (lambda: between(job, 2, 4), lambda: release(job, 1, "x"), lambda: open_issue(job, 1).layer("points")):
        with pytest.raises(JobError, match=r"by issue\.keep = 2 on "):
            needs()
    assert between(job, 3, 4).counts["moved"] == 0 and open_issue(job, 1).record["issue"] == 1
    assert {row.issue for reading in trace(job, "S01-00001").readings for row in reading.found} == {3, 4}
    assert another(job, 5).removed and whole(job) == [4, 5]


def test_what_was_ever_released_by_hand_stays(job: Path) -> None:
    release(job, 1, "the client has it")
    release(job, 2, "no, this")
    (job.parent / "out" / ".released").unlink()
    keep(job, 1)
    outcome = another(job, 5)
    assert (outcome.current, whole(job)) == (5, [1, 2, 5])
    assert "001, 002 kept whole: released by hand" in outcome.more()[0]


def test_what_a_rule_released_stays_and_is_said_to_be_by_no_hand(job: Path) -> None:
    """As where somebody lets every issue through while one waits, and goes on working."""
    keep(job, '1\nrelease = "proven"\n[checks]\nhorizontal = 1e-6')
    assert another(job, 5).waits
    replace_in(job, {'"proven"': '"any"'})
    assert run_job(job).current == 5
    another(job, 6)
    outcome = another(job, 7)
    assert (outcome.current, whole(job)) == (7, [5, 7])
    told = "\n".join(outcome.more())
    assert "005 kept whole: released by rule" in told and "by hand" not in told


def test_what_current_shows_and_what_waits_stays(job: Path) -> None:
    """As where checks fail a tolerance that nothing meets, and only what is proven may be used."""
    keep(job, '1\nrelease = "proven"\n[checks]\nhorizontal = 1e-6')
    fifth = another(job, 5)
    assert fifth.waits and fifth.current == 4 and another(job, 6).waits
    assert whole(job) == [4, 5, 6] and (job.parent / "out" / "current").resolve().name == "004"


def test_one_that_is_damaged_is_left_and_told(job: Path) -> None:
    out = job.parent / "out"
    (out / "issues" / "001" / "simulated-001.html").write_text("x", encoding="utf-8")
    (out / "issues" / "002" / "simulated-002.gpkg").unlink()
    (out / "issues" / "003" / "notes.txt").write_text("mine", encoding="utf-8")
    keep(job, 1)
    (line,) = run_job(job).more()
    assert "(003, " in line and "001, 002 kept whole: not what was issued" in line
    assert (out / "issues" / "001" / "simulated-001.gpkg").exists() and not (
        out / "issues" / "002" / "removed.json"
    ).exists()
    assert (out / "issues" / "003" / "notes.txt").exists()
    assert {one.issue for one in verify(out).findings if one.differs} == {1, 2, 3}


class Killed(BaseException):
    """Stands for a kill: nothing catches it."""


def test_a_kill_at_any_moment_leaves_an_issue_whole_or_thinned(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep(job, 2)
    for name in ("unlink", "replace"):
        for fatal in range(1, 20):
            place = job.parent.parent / f"{name}-{fatal}"
            shutil.copytree(job.parent, place, symlinks=True)
            path, left = place / job.name, [fatal]
            real = getattr(os, name)

            def dying(*arguments: Any, real: Any = real, left: list[int] = left, **more: Any) -> None:
                if "issues" in str(arguments[-1]):
                    left[0] -= 1
                    if left[0] == 0:
                        raise Killed
                real(*arguments, **more)

            with monkeypatch.context() as patch:
                patch.setattr(os, name, dying)
                try:
                    run_job(path)
                except Killed:
                    pass
                else:
                    break
            assert verify(place / "out").intact, (name, fatal)
            history(path)
            run_job(path)
            assert whole(path) == [3, 4] and verify(place / "out").intact
            listed = (place / "out" / "register.csv").read_text(encoding="utf-8")
            assert listed.count("files removed") == 2
        assert fatal > 2, name


def test_files_deleted_by_hand_are_found_beside_those_that_were_removed(job: Path) -> None:
    keep(job, 3)
    run_job(job)
    out = job.parent / "out"
    (out / "issues" / "002" / "simulated-002.gpkg").unlink()
    (out / "issues" / "001" / "simulated-001.html").unlink()
    assert [(one.issue, one.what) for one in verify(out).findings if one.differs and "missing" in one.what] == [
        (1, "is missing"), (2, "is missing")
    ]  # fmt: skip
    note = out / "issues" / "001" / "removed.json"
    said = json.loads(note.read_text(encoding="utf-8"))
    said["files"].append({"name": "simulated-001.html", "sha256": "0" * 64})
    note.write_text(json.dumps(said), encoding="utf-8")
    assert any(one.issue == 1 and one.differs and "may not lose" in one.what for one in verify(out).findings)


def test_with_the_newest_set_aside_and_none_whole_the_next_run_issues_anew(job: Path) -> None:
    keep(job, 1)
    run_job(job)
    out = job.parent / "out"
    (out / "issues" / "004" / "simulated-004.gpkg").unlink()
    assert set_aside(job, 4).stands == 3 and not (out / "current").exists()
    outcome = run_job(job)
    assert outcome.issued and (outcome.record["issue"], outcome.current) == (5, 5)
    changes = outcome.record["changes"]
    assert changes is not None and "its files were removed by issue.keep = 1" in str(changes["because"])
    assert verify(out).intact


@pytest.mark.parametrize("value", ["-1", "10001", "1.5", '"2"', "true", "99999999999999999999"])
def test_what_is_no_number_of_issues_is_refused(value: str, job: Path) -> None:
    keep(job, value)
    with pytest.raises(JobError, match="keep"):
        run_job(job, dry_run=True)
