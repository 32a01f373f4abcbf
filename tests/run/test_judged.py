"""A job whose files are as they were, run by a program that has learned since what is doubtful."""

from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.main import app
from pipeline.examine import doubts
from pipeline.notices import register
from pipeline.reissue import fingerprint
from pipeline.run import run_job as stages
from pipeline.run import surroundings


def upgrade(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other modules of the same version."""
    monkeypatch.setattr(fingerprint, "_modules", lambda: "others")
    monkeypatch.setattr(surroundings, "_program", lambda: "others")


@pytest.fixture
def proven_then(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A job with tolerances of 30 m, proven by a program that did not doubt them."""
    job = simulate(Plan(sessions=2, points=12, noise=False))
    job.job["checks"] = {**job.job.get("checks", {}), "horizontal": 30.0}
    path = job.write(tmp_path)
    with monkeypatch.context() as early:
        early.setattr(doubts, "tolerance_doubts", lambda survey: [])
        assert run_job(path).exit_code == 0
    assert run_job(path).issued is False
    return path


def test_what_is_doubtful_now_is_issued_anew(proven_then: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    upgrade(monkeypatch)
    planned = run_job(proven_then, dry_run=True)
    assert planned.exit_code == 3
    outcome = run_job(proven_then)
    assert (outcome.issued, outcome.exit_code, outcome.record["issue"]) == (True, 3, 2)
    because = outcome.record["changes"]["because"]
    assert "judged differently from the previous issue: session session-01: proven then, unchecked now" in because
    assert any("doubt tolerance is new for session-01, session-02" in one for one in because)
    assert run_job(proven_then).issued is False


def test_what_is_judged_alike_stands_and_is_looked_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = simulate(Plan(sessions=2, points=12)).write(tmp_path)
    first = run_job(path)
    upgrade(monkeypatch)
    assert run_job(path).issued is False
    with monkeypatch.context() as broken:
        broken.delattr(stages, "examine")  # nothing is read anew
        assert run_job(path).issued is False
    assert run_job(path).record["issue"] == first.record["issue"] == 1


def test_a_later_version_says_what_it_judges_otherwise(proven_then: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    upgrade(monkeypatch)
    monkeypatch.setattr(fingerprint, "program_version", lambda: "tiedown 99, PROJ 99, EPSG database 99")
    because = run_job(proven_then).record["changes"]["because"]
    assert "the program or PROJ changed" in because
    assert "judged differently from the previous issue: session session-01: proven then, unchecked now" in because


def test_a_point_measured_again_that_was_not_compared_then(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = simulate(Plan(sessions=1, points=12, noise=False))
    job.rows["name"][5] = job.rows["name"][3]
    for column, more in (("longitude", 0.0), ("latitude", 0.0), ("height", 0.3)):
        job.rows[column][5] = job.rows[column][3] + more
    path = job.write(tmp_path)
    with monkeypatch.context() as early:
        early.setattr("pipeline.draft.repeat_pairs._by_name", lambda *_: np.zeros((0, 2), np.int64))
        assert run_job(path).record["repeats"]["pairs"] == 0
    upgrade(monkeypatch)
    outcome = run_job(path)
    assert outcome.issued and outcome.record["repeats"]["failed"] == 1
    assert any("the comparison of points measured twice has changed: 1 pair fails now" in one
               for one in outcome.record["changes"]["because"])  # fmt: skip


def stray_mark(path: Path) -> None:
    """A mark that no session uses, some 400 km from everything, at the end of the register."""
    register = path.parent / "register.csv"
    head, first, *_ = register.read_text(encoding="utf-8").splitlines()
    row = dict(zip(head.split(","), first.split(","), strict=True))
    row |= {"mark": "FAR", "easting": "1806000.000", "northing": "5460000.000"}
    with register.open("a", encoding="utf-8") as file:
        file.write(",".join(row.values()) + "\n")


def told(path: Path, *switches: str) -> tuple[int, str, str]:
    """Exit code of a run, what it prints of notes that its issue does not have, and what its log has of them last."""
    found = CliRunner().invoke(app, ["run", *switches, str(path)])
    log = (path.parent / "out" / "runs.log").read_text(encoding="utf-8")
    printed = [line for line in f"{found.stdout}\n{found.stderr}".splitlines() if "not in issue" in line]
    logged = [line.strip() for line in log.rpartition("unchanged")[2].splitlines() if "not in issue" in line]
    return found.exit_code, "\n".join(printed).strip(), "\n".join(logged)


FAR = "note, not in issue 001: register.csv:6: mark 'FAR' is "


def test_what_a_program_has_learned_to_note_is_told_every_night(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = simulate(Plan(sessions=2, points=12, marks=4)).write(tmp_path)
    stray_mark(path)
    with monkeypatch.context() as early:
        early.setattr("pipeline.notices.register._strays", lambda *_: register.Warned(0, "nothing"))
        issued = run_job(path).record
    assert not any("FAR" in note for note in issued["notes"])
    upgrade(monkeypatch)
    assert run_job(path, dry_run=True).notes and not run_job(path, dry_run=True).issued
    for _ in range(3):  # the first looks at everything, the others at no more than sums
        code, printed, logged = told(path)
        assert code == 0 and printed.startswith(FAR) and logged == printed and printed.count("\n") == 0
    assert told(path, "--quiet")[:2] == (0, "")
    assert told(path, "--json")[1] == f"{path}: {printed}"
    assert run_job(path).record == issued


def test_an_unused_mark_is_told_by_run_as_by_check(tmp_path: Path) -> None:
    """Where it came into the register after the issue, which it does not shape; and no more once it is gone."""
    path = simulate(Plan(sessions=2, points=12, marks=4)).write(tmp_path)
    assert run_job(path).issued
    before = (tmp_path / "register.csv").read_bytes()
    stray_mark(path)
    (warned,) = check_job(path).warnings
    assert told(path)[1] == f"note, not in issue 001: {warned.removeprefix(f'{tmp_path}/')}"
    (tmp_path / "register.csv").write_bytes(before)
    assert told(path)[1] == ""


@pytest.mark.parametrize("seed", range(6))
def test_what_an_issue_notes_is_not_told_as_new(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Notes, doubts and failing checks that the record has, looked at by a program that knows no more."""
    job = simulate(Plan(sessions=1 + seed % 3, points=12, marks=4, seed=seed))
    if seed % 2:
        job.knock_base(0, 0.5, east=0.3)
    if seed > 2:
        job.job["checks"] = {**job.job.get("checks", {}), "horizontal": 30.0}
    path = job.write(tmp_path)
    stray_mark(path)
    assert run_job(path).record["notes"]
    upgrade(monkeypatch)
    outcome = run_job(path)
    assert not outcome.issued and outcome.notes == ()
