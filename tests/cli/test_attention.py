"""Exit code 3 and ``--quiet``: what needs attention, in the issue that stands, by whatever way it is asked for."""

import json
from collections.abc import Callable
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command import SMALL, failing, floating, spoiled, tiedown, untied
from issued import current_issue
from running import append_rows
from second_issues import rows_of
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.release import release


def wholly(folder: Path) -> list[tuple[str, str]]:
    """Return kind and name of everything that the record says is wholly held back; notes must tell all of it."""
    record = current_issue(folder / "out").record
    for one in record["wholly_held_back"]:
        assert sum(one["name"] in note for note in record["notes"]) >= 1
        assert one["rows"] == one["held_back"] + one["on_marks"]
        assert sum(one["by_reason"].values()) == one["held_back"] > 0
    return [(one["kind"], one["name"]) for one in record["wholly_held_back"]]


# A file, a session, a day

ZONE = timezone(timedelta(hours=13))


def local(job: Simulation) -> Simulation:
    """State the sessions in New Zealand's summer time, in which each lies within one day."""
    for session in job.job["session"]:
        for key in ("start", "end"):
            session[key] = session[key].astimezone(ZONE)
    return job


def test_a_session_and_a_day_of_float_points_are_told_by_name(tmp_path: Path) -> None:
    """The second of two days; its marks were occupied with fixed solutions, so that it is tied and proven."""
    path = local(floating(1, sessions=2)).write(tmp_path)
    found = tiedown("run", path)
    assert found.exit_code == 3, found.output
    assert wholly(tmp_path) == [("session", "session-02"), ("day", "2026-03-03 (UTC+13:00)")]
    for name in ("session-02", "2026-03-03"):
        assert f"WHOLLY HELD BACK: {'session ' * (name[0] == 's')}{name}" in found.stdout
    report = next((tmp_path / "out" / "current").resolve().glob("*.html")).read_text(encoding="utf-8")
    assert "session session-02: no point of it is issued" in report


def test_a_file_outside_every_session_is_told_by_name(tmp_path: Path) -> None:
    path = local(simulate(SMALL)).write(tmp_path)
    late = (tmp_path / "rover001.csv").read_text().replace("S01-", "S09-").replace("2026-03-", "2026-04-")
    (tmp_path / "rover002.csv").write_text(late)
    assert tiedown("run", path).exit_code == 3
    assert wholly(tmp_path) == [("file", "rover002.csv"), ("day", "2026-04-02 (UTC+13:00)")]


def test_a_file_exported_twice_is_told_by_name(tmp_path: Path) -> None:
    path = local(simulate(SMALL)).write(tmp_path)
    (tmp_path / "rover002.csv").write_bytes((tmp_path / "rover001.csv").read_bytes())
    assert tiedown("run", path).exit_code == 3
    assert wholly(tmp_path) == [("file", "rover002.csv")]
    assert current_issue(tmp_path / "out").record["wholly_held_back"][0]["by_reason"] == {"duplicate": 7}


@pytest.mark.parametrize("shorter", ["rover001.csv", "rover001 (1).csv"])
def test_a_day_downloaded_twice_counts_once_and_is_its_originals(shorter: str, tmp_path: Path) -> None:
    """Once before the day was over, once behind it: what both have is the original's, whichever is the longer. Nothing
    is lost with a copy that adds nothing; neither is in doubt."""
    path = local(simulate(Plan(sessions=1, points=20, noise=False))).write(tmp_path)
    original, copy = tmp_path / "rover001.csv", tmp_path / "rover001 (1).csv"
    head, *rows = original.read_text(encoding="utf-8").splitlines(keepends=True)
    for file in (original, copy):
        file.write_text("".join([head, *(rows[:11] if file.name == shorter else rows)]), encoding="utf-8")
    assert tiedown("run", path).exit_code == 0
    issue = current_issue(tmp_path / "out")
    assert wholly(tmp_path) == []
    assert issue.record["doubts"] == [] and issue.record["rows"]["by_reason"]["duplicate"] == 11
    files = [row["source_file"] for row in rows_of(issue.folder, "points")]
    assert len(files) == 20 and (copy.name in files) == (shorter == original.name)
    assert {row["source_file"] for row in rows_of(issue.folder, "held_back")} == {copy.name}


def test_a_stray_day_in_a_good_file_is_told(tmp_path: Path) -> None:
    """One row of the day before: its session is missing in the job."""
    path = local(simulate(SMALL)).write(tmp_path)
    append_rows(tmp_path / "rover001.csv", [{"Point": "X1", "Observed": "2026-02-27T22:00:00.000"}])
    found = tiedown("run", path)
    assert found.exit_code == 3
    assert wholly(tmp_path) == [("day", "2026-02-28 (UTC+13:00)")]
    assert "its only row is held back (1 outside_sessions)" in found.stdout


def occupations_alone(job: Simulation) -> None:
    job.keep(job.rows["kind"] != "point")


def one_float(job: Simulation) -> None:
    job.rows["solution"][3] = "float"


def three_floats(job: Simulation) -> None:
    job.rows["solution"][3:6] = "float"


def nothing(job: Simulation) -> None:
    pass


@pytest.mark.parametrize("change", [nothing, one_float, three_floats, occupations_alone])
def test_a_good_job_stays_quiet(change: Callable[[Simulation], None], tmp_path: Path) -> None:
    """Also one whose rows are occupations of marks alone: it has nothing else to deliver."""
    job = local(simulate(SMALL))
    change(job)
    path = job.write(tmp_path)
    for _ in range(2):
        found = tiedown("run", "--quiet", path)
        assert (found.exit_code, found.output) == (0, ""), found.output
    assert wholly(tmp_path) == []


def test_a_day_across_midnight_of_another_clock_is_one_day(tmp_path: Path) -> None:
    """Of a session from 08:30 to 16:30 in New Zealand all rows before midnight in London are float: not a whole day."""
    job = local(simulate(Plan(sessions=1, points=8, noise=False)))
    early = job.rows["time"] < np.datetime64("2026-03-02T00:00:00")
    job.rows["solution"][early & (job.rows["kind"] == "point")] = "float"
    assert early.any() and not early.all()
    assert tiedown("run", job.write(tmp_path)).exit_code == 0


# The issue that stands


@pytest.mark.parametrize("make", [failing, untied, floating])
def test_what_needs_attention_needs_it_as_long_as_the_issue_stands(
    make: Callable[[], Simulation], tmp_path: Path
) -> None:
    path = make().write(tmp_path)
    for arguments in ([], [], ["--dry-run"], ["--json"], ["--quiet"], ["--dry-run", "--json"]):
        assert tiedown("run", *arguments, path).exit_code == 3, arguments
    path.write_text("# a comment\n" + path.read_text())  # everything is worked again, and comes to the same issue
    found = tiedown("run", path)
    assert found.exit_code == 3 and "nothing changed since issue 001" in found.stdout
    assert [entry.name for entry in (tmp_path / "out" / "issues").iterdir()] == ["001"]


def test_a_dry_run_of_an_unchanged_job_says_that_nothing_would_change(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    assert "issue 001 would be written" in tiedown("run", "--dry-run", path).stdout
    tiedown("run", path)
    assert "nothing changed since issue 001" in tiedown("run", "--dry-run", path).stdout
    assert json.loads(tiedown("run", "--dry-run", "--json", path).stdout)["issue"] == 1


def test_what_was_mended_needs_no_attention(tmp_path: Path) -> None:
    path = floating().write(tmp_path)
    assert tiedown("run", path).exit_code == 3
    simulate(SMALL).write(tmp_path)
    assert [tiedown("run", path).exit_code for _ in range(2)] == [0, 0]


def test_a_record_of_before_this_was_noted_is_judged_by_what_it_says(tmp_path: Path) -> None:
    from pipeline.issue.attention import attention
    from pipeline.issue.record import parse_record

    assert tiedown("run", failing().write(tmp_path)).exit_code == 3
    record: dict[str, Any] = current_issue(tmp_path / "out").record
    for key in ("wholly_held_back", "doubts"):
        del record[key]
    earlier = parse_record(record | {"schema": 1}, Path("issue.json"))
    assert [one.kind for one in attention(earlier)] == ["failing", "held back"]


# The report


def noted() -> Simulation:
    """A job as it should be but for a reading of a base that no session has, which a note tells."""
    job = simulate(SMALL)
    job.rows["base"] = job.rows["base"].astype(object)
    job.rows["base"][np.flatnonzero(job.rows["kind"] == "point")[0]] = "BASE-X"
    return job


def unchecked() -> Simulation:
    """A job that no check proves, with so much that is told for information."""
    return simulate(Plan(sessions=1, points=4, noise=False, checks=0))


def waiting() -> Simulation:
    """The same, to be released only when it is proven."""
    job = unchecked()
    job.job["issue"] = {"release": "proven"}
    return job


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: simulate(SMALL), 0), (noted, 0), (unchecked, 0), (failing, 3), (untied, 3),
        (floating, 3), (waiting, 3),
    ],
    ids=["good", "noted", "unchecked", "failing", "untied", "floating", "waiting"],
)  # fmt: skip
def test_the_page_says_that_something_needs_attention_where_the_exit_code_does(
    make: Callable[[], Simulation], code: int, tmp_path: Path
) -> None:
    found = tiedown("run", "--quiet", make().write(tmp_path))
    assert found.exit_code == code, found.output
    (page,) = (tmp_path / "out" / "issues" / "001").glob("*-001.html")
    text = page.read_text(encoding="utf-8")
    assert ("Needs attention</h2>" in text) is (code == 3)
    assert ("For information</h2>" in text) or make not in (noted, unchecked)
    assert bool(found.output) is (code == 3)


# Quiet


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (failing, ["FAILED", "FAILS: S01-C2", "held back: 4 suspect", "WHOLLY HELD BACK: session session-01"]),
        (untied, ["UNTIED", "held back: 7 untied"]),
        (floating, ["WHOLLY HELD BACK: file rover001.csv"]),
    ],
)
def test_quiet_prints_what_needs_attention_and_nothing_else(
    make: Callable[[], Simulation], words: list[str], tmp_path: Path
) -> None:
    path = make().write(tmp_path)
    for headline in ("issue 001 written", "nothing changed since issue 001"):
        found = tiedown("run", "--quiet", path)
        assert found.exit_code == 3 and found.stderr == ""
        for word in (headline, *words):
            assert word in found.stdout, found.stdout
        for word in ("rows read", "grid ", "verdict\n", "note:", "regulations", "occupations of control marks pass"):
            assert word not in found.stdout, found.stdout


def test_quiet_of_several_jobs_leaves_out_the_good_ones(tmp_path: Path) -> None:
    jobs = {"good": simulate(SMALL), "fails": failing(), "bad": spoiled(), "fine": simulate(SMALL)}
    for name, job in jobs.items():
        job.job["job"]["name"] = name
    found = tiedown("run", "--quiet", *(job.write(tmp_path / name) for name, job in jobs.items()))
    assert found.exit_code == 3
    assert "fails:" in found.stdout and "CM9" in found.stderr
    assert not any(name in found.output for name in ("good", "fine"))
    alone = tiedown("run", "--quiet", tmp_path / "good" / "job.toml", tmp_path / "fine" / "job.toml")
    assert (alone.exit_code, alone.output) == (0, "")


# What is chosen to fail on


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("failed", 3), ("suspect", 3), ("untied", 0), ("unclosed,unchecked", 0), ("untied,failed", 3),
        ("outside_sessions", 0), ("refused", 0),
    ],
)  # fmt: skip
def test_fail_on_chooses_among_what_an_issue_says(
    words: str, code: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """And what needs attention is told all the same."""
    folder = tmp_path_factory.getbasetemp() / "fail-on"
    path = folder / "job.toml"
    if not path.exists():
        failing().write(folder)
        assert tiedown("run", path).exit_code == 3
    found = tiedown("run", "--quiet", "--fail-on", words, path)
    assert found.exit_code == code and "FAILS" in found.stdout
    assert ("--fail-on failed: 1 failing occupation, 1 session" in found.stdout) is ("failed" in words)


def test_fail_on_finds_what_needs_no_attention_otherwise(tmp_path: Path) -> None:
    """Rows outside every session, in a file of a day that has others; an unclosed session."""
    job = simulate(SMALL)
    path = job.write(tmp_path)
    last = job.rows["time"][-1] + np.timedelta64(9, "h")
    append_rows(tmp_path / "rover001.csv", [{"Point": "X1", "Observed": f"{last}Z"}])
    assert tiedown("run", path).exit_code == 0
    for words in (("failed",), ("failed", "outside_sessions")):
        found = tiedown("run", "--quiet", *(part for word in words for part in ("--fail-on", word)), path)
        assert found.exit_code == (3 if "outside_sessions" in words else 0)
    assert found.stdout.count("\n") == 2 and "--fail-on outside_sessions: 1 row held back" in found.stdout


def test_fail_on_finds_what_is_wholly_held_back_and_what_waits(tmp_path: Path) -> None:
    """A stray row of another day, and an issue that no rule lets `current` follow until somebody releases it."""
    stray = simulate(SMALL).write(tmp_path / "stray")
    append_rows(tmp_path / "stray" / "rover001.csv", [{"Point": "X1", "Observed": "2026-02-27T22:00:00Z"}])
    waiting = failing().write(tmp_path / "waiting")
    waiting.write_text(f'{waiting.read_text(encoding="utf-8")}\n[issue]\nrelease = "proven"\n', encoding="utf-8")
    for path, word, others, told in (
        (stray, "wholly_held", "pending,untied", "1 file, session or day"),
        (waiting, "pending", "untied,refused", "issue 001 waits to be released"),
    ):
        assert tiedown("run", path).exit_code == 3
        assert f"--fail-on {word}: {told}" in (found := tiedown("run", "--quiet", "--fail-on", word, path)).stdout
        assert found.exit_code == 3
        assert tiedown("run", "--quiet", "--fail-on", others, path).exit_code == 0
    assert tiedown("release", waiting, "1", "--because", "seen").exit_code == 0
    assert tiedown("run", "--fail-on", "pending", waiting).exit_code == 0


def test_a_refused_job_counts_where_it_is_chosen(tmp_path: Path) -> None:
    bad, good = spoiled().write(tmp_path / "bad"), simulate(SMALL).write(tmp_path / "good")
    assert tiedown("run", "--fail-on", "failed,refused", bad, good).exit_code == 2
    found = tiedown("run", "--fail-on", "failed", "--json", bad, good)
    assert found.exit_code == 0
    jobs = json.loads(found.stdout)["jobs"]
    assert [(one["outcome"], one["exit_code"]) for one in jobs] == [("refused", 0), ("unchanged", 0)]
    assert tiedown("run", "--fail-on", "nonsense", good).exit_code == 2


def test_the_lines_of_many_jobs_end_with_the_worst(tmp_path: Path) -> None:
    """Among those that need attention, the failed one is nearest to the prompt."""
    paths = [make().write(tmp_path / name) for name, make in (("a", failing), ("b", untied), ("c", floating))]
    said = tiedown("run", *paths).stdout.splitlines()
    lines = [line for line in said if line.startswith("  needs attention")]
    assert [next(name for name in "abc" if f"/{name}/job.toml" in line) for line in lines] == ["c", "b", "a"]


# Points that are gone


def test_quiet_tells_once_that_there_are_fewer_points_although_all_is_proven(tmp_path: Path) -> None:
    """A row that is lost from an export empties a part of a drawing; one that comes is what a job is for."""
    path = simulate(SMALL).write(tmp_path)
    assert tiedown("run", "--quiet", path).output == ""
    export = tmp_path / "rover001.csv"
    lines = export.read_text(encoding="utf-8").splitlines(keepends=True)
    middle = len(lines) // 2
    export.write_text("".join(lines[:middle] + lines[middle + 1 :]), encoding="utf-8")
    found = tiedown("run", "--quiet", path)
    assert found.exit_code == 0 and "since issue 001: 1 withdrawn" in found.stdout
    assert f"because the raw file {export.name} changed" in found.stdout
    assert tiedown("run", "--quiet", path).output == ""
    export.write_text("".join(lines), encoding="utf-8")
    assert tiedown("run", "--quiet", path).output == ""
    assert "since issue 002: 1 added" in (tmp_path / "out" / "runs.log").read_text(encoding="utf-8")


def test_quiet_tells_once_that_an_older_issue_was_released_by_hand(tmp_path: Path) -> None:
    """Somebody decided it, so that it needs no attention; whoever runs the job at night did perhaps not hear of it."""
    job = simulate(SMALL)
    path = job.write(tmp_path)
    run_job(path)
    job.mistype("CM1", "ellipsoid_height", 0.004)
    job.write(tmp_path)
    run_job(path)
    release(path, 1, "the drawing is of this one")
    told = [tiedown("run", "--quiet", path) for _ in range(3)]
    assert [one.exit_code for one in told] == [0, 0, 0] and not any(one.stdout for one in told)
    assert told[0].stderr.count("\n") == 1 and "current shows issue 001, released by hand" in told[0].stderr
    assert [one.stderr for one in told[1:]] == ["", ""]
    words = ["office", path, "--to", tmp_path / "page.html"]
    said = tiedown(*words)
    assert said.exit_code == 0 and f"{path}: current shows issue 001, and issue 002 is newer" in said.stdout
    assert tiedown(*words, "--quiet").output == ""
    release(path, 2, "and now of this one")
    assert tiedown("run", "--quiet", path).output == "" and "is newer" not in tiedown(*words).output


@pytest.mark.parametrize("hold_back", [[], ["suspect"]])
def test_suspect_points_are_told_whether_they_are_issued_or_held(tmp_path: Path, hold_back: list[str]) -> None:
    """The knocked base of `failing` puts every point beside a check that fails."""
    job = failing()
    job.job["issue"] = {"hold_back": hold_back}
    path = job.write(tmp_path)
    for arguments in (["run", path], ["run", "--quiet", path]):
        found = tiedown(*arguments)
        rows = current_issue(tmp_path / "out").record["rows"]
        assert found.exit_code == 3
        if hold_back:
            assert f"held back: {rows['by_reason']['suspect']} suspect" in found.stdout
            assert "SUSPECT" not in found.stdout
        else:
            assert f"SUSPECT: {rows['points']} of {rows['points']} issued points are suspect" in found.stdout
    report = next((tmp_path / "out" / "current").resolve().glob("*.html")).read_text(encoding="utf-8")
    assert ("issued points are suspect" in report) == (not hold_back)
