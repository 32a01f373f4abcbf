"""A job whose files are as they were, run by a program that has learned since what is doubtful."""

from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.examine import doubts
from pipeline.reissue import fingerprint
from pipeline.run import run_job as stages


def upgrade(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other modules of the same version."""
    monkeypatch.setattr(fingerprint, "_modules", lambda: "others")


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
