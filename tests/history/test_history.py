"""The issues of a job listed: what changed in each and why, also from records of earlier days."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from running import replace_in
from sealed_by_hand import sum_by_hand
from simulate import Plan, Simulation, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.aside import set_aside
from pipeline.between import between
from pipeline.cli.main import app
from pipeline.history import every_number, history
from pipeline.problems import JobError
from pipeline.verify import verify

run = CliRunner().invoke
PLAN = Plan(sessions=2, points=40, noise=False)


@pytest.fixture
def job() -> Simulation:
    return simulate(PLAN)


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with three issues: a mark's height revised by 6 mm, then ten points of the second session gone."""
    folder = tmp_path_factory.mktemp("three")
    job = simulate(PLAN)
    path = job.write(folder)
    run_job(path)
    job.mistype("CM1", "height", 0.006)
    job.write(folder)
    run_job(path)
    gone = {f"S02-{number:05d}" for number in range(11, 21)}
    job.keep(np.array([name not in gone for name in job.rows["name"]]))
    job.write(folder)
    run_job(path)
    return folder


@pytest.fixture
def issued(three: Path, tmp_path: Path) -> Path:
    """The same, in a copy."""
    shutil.copytree(three, tmp_path, symlinks=True, dirs_exist_ok=True)
    return tmp_path / "job.toml"


def test_each_issue_says_what_changed_in_it_and_why(issued: Path) -> None:
    """6 mm at the only tie of the first session move its 40 points by as much, and nothing of the second."""
    first, second, third = history(issued)
    assert [entry.issue for entry in (first, second, third)] == [1, 2, 3]
    assert first.changes is None and first.because == ("first issue",)
    assert first.made_at is not None and first.points == 80 and first.checks_failed == 0
    assert second.changes is not None and second.changes.since == 1
    assert second.changes.counts == {"moved": 40, "added": 0, "withdrawn": 0, "held": 0, "released": 0, "recoded": 0}
    assert second.changes.max_vertical == pytest.approx(0.006, abs=2e-5)
    assert any("CM1" in reason and "height" in reason for reason in second.because)
    assert third.changes is not None and third.changes.since == 2
    assert third.changes.counts["withdrawn"] == 10 and third.points == 70
    assert any("rover001.csv" in reason for reason in third.because)


def test_the_command_prints_them_oldest_first(issued: Path) -> None:
    said = run(app, ["history", str(issued)])
    assert said.exit_code == 0
    lines = said.output.splitlines()
    assert [line[:9] for line in lines if line.startswith("issue")] == ["issue 001", "issue 002", "issue 003"]
    assert "  because first issue" in lines
    assert "  since issue 001: 40 moved (by up to 0.0000 m horizontally, 0.0060 m in height)" in lines
    assert any("since issue 002: 10 withdrawn" in line for line in lines)


def test_as_json_it_carries_the_same(issued: Path) -> None:
    found = json.loads(run(app, ["history", str(issued), "--json"]).output)
    assert [entry["issue"] for entry in found] == [1, 2, 3]
    assert found[0]["changes"] is None and found[0]["made_at"].endswith("Z")
    assert found[1]["changes"]["counts"]["moved"] == 40


def test_records_without_counts_and_a_register_without_lines_are_listed(issued: Path) -> None:
    """A record that only said why, as they were written once, and a register that somebody has emptied."""
    folder = issued.parent / "out"
    path = folder / "issues" / "002" / "issue.json"
    record = json.loads(path.read_text())
    record["changes"] = {"since": 1, "because": ["the register of control marks changed"], "altered": []}
    path.write_text(json.dumps(record | {"sum": sum_by_hand(record)}))
    (folder / "register.csv").write_text("issue,made_at,verdict,because\n")
    first, second, _ = history(issued)
    assert first.made_at is None and first.because == ()
    assert second.changes is not None and set(second.changes.counts.values()) == {None}
    assert "since issue 001: points were not compared" in run(app, ["history", str(issued)]).output


def test_a_job_without_an_issue_is_told_so(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    with pytest.raises(JobError, match="no issue yet"):
        history(path)
    said = run(app, ["history", str(path)])
    assert said.exit_code == 2
    assert not (tmp_path / "out").exists()


def test_a_record_that_cannot_be_read_is_told_with_what_to_do(issued: Path) -> None:
    replace_in(issued.parent / "out" / "issues" / "002" / "issue.json", {'"schema": 8': '"schema": 99'})
    said = run(app, ["history", str(issued)])
    assert said.exit_code == 2
    assert "schema version 99" in said.output and "later version of tiedown" in said.output


def test_no_number_is_passed_over(issued: Path) -> None:
    """The second is set aside, as its report is gone; later the list, and what was set aside, are lost."""
    out = issued.parent / "out"
    (out / "issues" / "002" / "simulated-002.html").unlink()
    set_aside(issued, 2)
    said = run(app, ["history", str(issued)])
    assert said.exit_code == 0
    lines = said.output.splitlines()
    assert [line[:9] for line in lines if line.startswith("issue")] == ["issue 001", "issue 002", "issue 003"]
    (at,) = (number for number, line in enumerate(lines) if line.startswith("issue 002"))
    (listed,) = (line for line in (out / "register.csv").read_text().splitlines() if ",set aside," in line)
    day, clock = listed.split(",")[1][:16].split("T")
    assert lines[at] == f"issue 002  {day} {clock} UTC  SET ASIDE"
    assert lines[at + 1].startswith("  kept in set-aside/002-") and "simulated-002.html" in lines[at + 1]
    first, second, third = json.loads(run(app, ["history", str(issued), "--json"]).output)
    assert first.keys() <= second.keys() and (second["issue"], second["verdict"]) == (2, "set aside")
    assert second["points"] is None and second["set_aside_at"] == listed.split(",")[1] and third["issue"] == 3

    shutil.rmtree(out / "set-aside")
    text = (out / "register.csv").read_text().splitlines(keepends=True)
    (out / "register.csv").write_text("".join(line for line in text if not line.startswith("002,")))
    said = run(app, ["history", str(issued)])
    assert said.exit_code == 0
    assert "issue 002  GONE\n  neither issues nor register.csv has it\n" in said.output


def test_where_all_were_set_aside_they_are_shown(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    run_job(path)
    (tmp_path / "out" / "issues" / "001" / "simulated-001.html").unlink()
    set_aside(path, 1)
    said = run(app, ["history", str(path)])
    assert said.exit_code == 2 and "issue 001  " in said.output and "SET ASIDE" in said.output
    assert "all were set aside" in said.output and "run the job" in said.output


def test_an_issue_that_was_put_back_is_one_again(issued: Path) -> None:
    """Restored from a backup it is compared and shown again, and may be set aside again."""
    out = issued.parent / "out"
    shutil.copytree(out / "issues" / "002", issued.parent / "backup", symlinks=True)
    for _ in range(2):
        (out / "issues" / "002" / "simulated-002.html").unlink()
        set_aside(issued, 2)
        assert [entry.issue for entry in history(issued)] == [1, 3]
        shutil.copytree(issued.parent / "backup", out / "issues" / "002", symlinks=True)
        assert [entry.issue for entry in history(issued)] == [1, 2, 3] and every_number(issued) == history(issued)
        assert between(issued, 2, 3).counts["withdrawn"] == 10
    assert sum(",set aside," in line for line in (out / "register.csv").read_text().splitlines()) == 2


def test_times_that_run_backwards_are_told(issued: Path) -> None:
    """The third issue's line says a day before the others': a clock was set, or somebody edited the list."""
    register = issued.parent / "out" / "register.csv"
    assert "by its time" not in run(app, ["history", str(issued)]).output
    lines = register.read_text(encoding="utf-8").splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("003,"))
    number, made_at, rest = lines[at].split(",", 2)
    lines[at] = f"{number},2001{made_at[4:]},{rest}"
    register.write_text("\n".join([*lines, ""]), encoding="utf-8")
    told = run(app, ["history", str(issued)]).output
    assert told.count("by its time it was made before issue 002") == 1
    found = verify(issued.parent / "out")
    assert [(one.issue, one.file, one.differs) for one in found.findings] == [(3, "register.csv", False)]
    assert found.findings[0].what.startswith("by its line there it was made before issue 002") and found.intact
