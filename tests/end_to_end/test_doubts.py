"""A doubt takes the proof away until the job confirms it: what would put everything off while every check agrees."""

import html
import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from every import every
from issued import current_issue
from running import replace_in
from simulate import CENTRAL_JAVA, Plan, Simulation, simulate
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.check import check_job
from pipeline.cli.issue_summary import summary
from pipeline.cli.main import app
from pipeline.problems import JobError

SMALL = Plan(sessions=2, points=20, ties=1, checks=2, marks=4, place=CENTRAL_JAVA, base_vertical=4.0)


def ellipsoidal_register(plan: Plan = SMALL) -> Simulation:
    """Return a job whose register gives ellipsoidal heights under the name of a height datum: all is 25 m high."""
    job = simulate(plan)
    job.register["height"] = job.register["height"] + job.marks.ellipsoid_height - job.marks.height
    job.job["shift"] = {"limit_vertical": 60.0}  # or the shift, of about as much, would be in doubt too
    return job


def far_base(plan: Plan = SMALL) -> Simulation:
    """Return a job whose second base broadcast from 14 m beside itself, as after a typing error."""
    job = simulate(plan)
    job.displace(job.rows["session"] == 1, [8.0, 8.0, 8.0])
    return job


def confirm(path: Path, *kinds: str) -> None:
    with path.open("a", encoding="utf-8") as file:
        file.write(f"\n[checks]\nconfirmed = {json.dumps(kinds)}\n")


@pytest.mark.parametrize(
    ("made", "kind", "sessions"),
    [
        (ellipsoidal_register, "register-heights", ["session-01", "session-02"]),
        (far_base, "shift", ["session-02"]),
    ],
)
def test_a_doubt_takes_the_proof_away_until_it_is_confirmed(
    made: Callable[[], Simulation], kind: str, sessions: list[str], tmp_path: Path
) -> None:
    path = made().write(tmp_path)
    first = run_job(path)
    record = first.record
    assert (record["verdict"], first.exit_code) == ("unchecked", 3)
    assert [check["passed"] for check in record["checks"]] == [True] * 6
    (doubt,) = record["doubts"]
    assert (doubt["kind"], doubt["sessions"], doubt["confirmed"]) == (kind, sessions, False)
    assert f'[checks] confirmed = ["{kind}"]' in doubt["what"]
    assert doubt["what"] in record["notes"]
    issue = current_issue(tmp_path / "out")
    for row in every(issue.points.rows):
        assert row["proof"] == ("unchecked" if row["session"] in sessions else "bracketed")
    for row in every(issue.sessions.rows):
        assert row["verdict"] == ("unchecked" if row["session"] in sessions else "proven")
    (page,) = (tmp_path / "out/issues/001").glob("*-001.html")
    assert doubt["what"] in html.unescape(page.read_text(encoding="utf-8"))

    again = run_job(path)
    assert not again.issued
    assert again.exit_code == 3

    confirm(path, kind)
    second = run_job(path)
    assert second.issued
    assert (second.record["verdict"], second.exit_code) == ("proven", 0)
    (doubt,) = second.record["doubts"]
    assert doubt["confirmed"]
    assert doubt["what"].endswith("(confirmed by the job file)")
    assert doubt["what"] in second.record["notes"]
    why, proven = second.record["changes"]["because"]
    assert why == f"the job file changed: [checks] confirmed [] -> [{kind}]"
    assert re.fullmatch(r"\d+ points proven otherwise: \d+ were unchecked and are bracketed", proven)
    assert second.record["changes"]["moved"] == 0
    assert set(current_issue(tmp_path / "out").points.column("proof")) == {"bracketed"}
    assert run_job(path).exit_code == 0


def test_the_summary_and_the_check_tell_a_doubt(tmp_path: Path) -> None:
    path = ellipsoidal_register().write(tmp_path)
    (told,) = check_job(path).warnings
    assert told.startswith("register.csv:2: ")
    run = CliRunner().invoke(app, ["run", str(path)])
    assert run.exit_code == 3
    (line,) = [line for line in run.stdout.splitlines() if "DOUBT" in line]
    assert line.endswith('you have checked this and set [checks] confirmed = ["register-heights"]')
    assert line.split("DOUBT: ")[1] not in "".join(line for line in run.stdout.splitlines() if "note:" in line)
    check = CliRunner().invoke(app, ["check", str(path)])
    assert check.exit_code == 0
    assert check.stdout.splitlines()[0].endswith("job.toml: no errors, 1 doubt that takes the proof away")
    assert "DOUBT: register.csv:2: " in check.stdout
    assert "register-heights" in check.stdout


def test_a_confirmed_doubt_stands_among_the_notes_of_the_summary(tmp_path: Path) -> None:
    path = ellipsoidal_register().write(tmp_path)
    confirm(path, "register-heights")
    outcome = run_job(path)
    text = summary(outcome.record, outcome.headline)
    assert "DOUBT" not in text
    assert "(confirmed by the job file)" in text


def test_confirming_one_kind_leaves_the_other_in_doubt(tmp_path: Path) -> None:
    path = far_base().write(tmp_path)
    confirm(path, "register-heights")
    outcome = run_job(path, dry_run=True)
    assert (outcome.record["verdict"], outcome.exit_code) == ("unchecked", 3)


def test_points_in_doubt_are_held_back_where_the_job_asks_for_it(tmp_path: Path) -> None:
    job = ellipsoidal_register(replace(SMALL, sessions=1))
    job.job["issue"] = {"hold_back": ["unchecked"]}
    outcome = run_job(job.write(tmp_path))
    assert outcome.record["rows"]["by_reason"] == {"unchecked": 20}
    details = current_issue(tmp_path / "out").held_back.column("detail")
    assert all("in doubt" in detail and "ellipsoidal" in detail for detail in every(details))


def test_an_unknown_kind_is_refused_with_the_kinds_there_are(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    confirm(path, "register-height")
    with pytest.raises(JobError) as caught:
        run_job(path)
    (problem,) = caught.value.problems
    assert problem.line == len(path.read_text().splitlines())
    assert "register-heights" in f"{problem.what} {problem.fix}"
    replace_in(path, {'"register-height"': '"everything"'})
    with pytest.raises(JobError, match="shift"):
        run_job(path)


def test_a_confirmation_of_nothing_is_told(tmp_path: Path) -> None:
    """It was for a doubt that is gone; the next of its kind would pass as looked into."""
    job = simulate(Plan(sessions=2, points=12, noise=False))
    job.job["checks"] = {"confirmed": ["shift", "datum", "shift"]}
    outcome = run_job(job.write(tmp_path), dry_run=True)
    (note,) = (note for note in outcome.record["notes"] if "confirmed" in note)
    assert outcome.exit_code == 0 and '"shift" and "datum" in [checks] confirmed match no doubt of this job' in note
