"""`current` is what may be drawn from: which issues it follows, what waits for a hand, and what a hand decides."""

import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from first_issue import first_issue, run_once
from issued import current_issue
from running import append_rows, csv_rows, replace_in, rewrite_export, write_csv
from simulate import Plan, Simulation, simulate
from simulate_files import write_register
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.cli.main import app
from pipeline.history import history
from pipeline.issue.folder.manual_release import ManualRelease, write_release
from pipeline.issue.folder.publish import issues, job_lock
from pipeline.problems import JobError, JobHeld
from pipeline.reissue import fingerprint
from pipeline.release import release
from pipeline.verify import verify

PLAN = Plan(sessions=2, points=6, ties=1, checks=3, marks=5, noise=False, seed=7)


def mistype(job: Simulation, folder: Path, metres: float) -> None:
    """Add to the easting of the mark that session 1 checks on first and session 2 is tied to."""
    job.mistype("CM2", "easting", metres)
    write_register(job.register, folder / "register.csv")


def shown(path: Path) -> str:
    return (path.parent / "out" / "current").resolve(strict=True).name


def tiedown(*arguments: object) -> tuple[int, str]:
    found = CliRunner().invoke(app, [str(argument) for argument in arguments])
    return found.exit_code, found.output


@pytest.fixture
def job(tmp_path: Path) -> tuple[Simulation, Path]:
    """A good job, and its first issue."""
    made = simulate(PLAN)
    path = made.write(tmp_path)
    first_issue(path)
    assert shown(path) == "001"
    return made, path


def test_a_mark_mistyped_at_night_empties_no_drawing(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    """The issue is written and waits, again and again; the corrected register makes one that is as drafters have it."""
    made, path = job
    before = str(made.register["easting"][list(made.register["mark"]).index("CM2")])
    mistype(made, tmp_path, 0.9)
    second = run_once(path)
    assert (second.exit_code, second.current, shown(path)) == (3, 1, "001")
    assert second.record["release"] is not None and second.record["release"]["pending"]
    (stake,) = second.record["release"]["at_stake"]
    assert (stake["session"], stake["held"], stake["moved"]) == ("session-02", 6, 0)
    causes = [check["cause"] for check in second.record["checks"] if check["passed"] is False]
    told = f"the register of issue 001 had CM2's easting {float(before):.5f}"
    assert any(cause and cause.startswith(told) and "with it the check agrees" in cause for cause in causes), causes
    page = (tmp_path / "out" / "issues" / "002" / "simulated-002.html").read_text(encoding="utf-8")
    assert "not released when it was made: current stays at issue 001" in page and "superseded" not in page
    assert "remove nothing" in page and "remove them from drawings" not in page
    for words in ([], ["--quiet"]):
        code, said = tiedown("run", *words, path)
        assert code == 3 and "PENDING: current stays at issue 001" in said and "tiedown release JOB 2" in said
    entries = json.loads(tiedown("history", path, "--json")[1])
    assert [(one["current"], one["pending"]) for one in entries] == [(True, False), (False, True)]
    assert verify(tmp_path / "out").findings == ()

    mistype(made, tmp_path, -0.9)
    third = run_job(path)
    assert (third.exit_code, third.current, shown(path)) == (0, 3, "003")
    changes = third.record["changes"]
    assert changes is not None and changes["since"] == 1
    assert [changes[kind] for kind in ("moved", "held", "withdrawn", "added", "released")] == [0] * 5  # type: ignore[literal-required]
    assert changes["because"] == ["everything is as it was when issue 001 was made"]
    assert "PENDING" not in tiedown("history", path)[1]


def test_a_mistyped_mark_is_still_told_from_the_last_good_register(
    job: tuple[Simulation, Path], tmp_path: Path
) -> None:
    """The issue that was released with the mistake cannot tell it; the one before can."""
    made, path = job
    before = str(made.register["easting"][list(made.register["mark"]).index("CM2")])
    mistype(made, tmp_path, 0.9)
    run_once(path)
    release(path, 2, "the mark was moved")
    path.write_text(f"{path.read_text(encoding='utf-8')}\n[issue]\nhold_back = []\n", encoding="utf-8")
    third = run_once(path)
    assert third.issued
    causes = [check["cause"] for check in third.record["checks"] if check["passed"] is False]
    told = f"the register of issue 001 had CM2's easting {float(before):.5f}"
    assert any(cause and cause.startswith(told) for cause in causes), causes


def test_a_hand_moves_it_forth_and_back_and_why_is_kept(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    made, path = job
    mistype(made, tmp_path, 0.9)
    run_once(path)
    assert tiedown("release", path, 2, "--because", "the mark\n was moved")[0] == 0 and shown(path) == "002"
    code, said = tiedown("run", path)
    assert code == 3 and "PENDING" not in said  # it fails still, and is in use
    assert "current already" in tiedown("release", path, 2, "--because", "again")[1]
    assert tiedown("release", path, 1, "--because", "no")[0] == 0 and shown(path) == "001"
    assert "current shows issue 001, released by hand" in tiedown("run", path)[1] or shown(path) == "001"
    lines = (tmp_path / "out" / "register.csv").read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[0::2] for line in lines[3:]] == [["002", "released"], ["001", "released"]]
    assert [why for _, why in history(path)[1].released] == ["the mark was moved"]
    assert verify(tmp_path / "out").findings == ()
    (tmp_path / "out" / ".released").unlink()  # a folder copied without its hidden files
    run_job(path)
    assert shown(path) == "001"
    mistype(made, tmp_path, -0.9)
    assert run_job(path).current == 3  # a good issue is followed again


def test_what_the_rule_lets_through_later_was_released_by_no_hand(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    made, path = job
    mistype(made, tmp_path, 0.9)
    run_once(path)
    assert shown(path) == "001"
    path.write_text(f'{path.read_text(encoding="utf-8")}\n[issue]\nrelease = "any"\n', encoding="utf-8")
    tiedown("run", path)
    told = tiedown("history", path)[1]
    assert shown(path) == "002" and 'issue.release is "any" now' in told and "by hand" not in told


def upgrade(monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    """Another version of the program."""
    monkeypatch.setattr(fingerprint, "program_version", lambda: f"tiedown {number}, PROJ 99, EPSG database 99")


def passed_over(made: Simulation, path: Path, tmp_path: Path) -> Path:
    """A second issue, which moves points, and the first one released by hand in its place."""
    mistype(made, tmp_path, 0.008)
    run_once(path)
    release(path, 1, "the drafters are not ready")
    return path


def code(path: Path, name: str) -> None:
    """Give a point another code: an issue that moves nothing."""
    rewrite_export(
        path.parent / "rover001.csv", lambda row: row | ({"Code": name} if row["Point"] == "S01-00001" else {})
    )


def test_another_version_of_the_program_undoes_no_release_by_hand(
    job: tuple[Simulation, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Issue 2 moves points and was passed over; issues 3 and 4 are the same again, and issue 5 is another."""
    made, path = job
    mistype(made, tmp_path, 0.008)
    second = run_once(path)
    assert second.current == 2 and second.record["changes"] is not None and second.record["changes"]["moved"] > 0
    release(path, 1, "the drafters are not ready")
    for number in (3, 4):
        upgrade(monkeypatch, number)
        assert run_job(path, dry_run=True).current == 1
        again = run_job(path)
        assert (again.issued, again.record["issue"], again.current, shown(path)) == (True, number, 1, "001")
        assert again.more()[0] == "current shows issue 001, released by hand; tiedown history gives the reason"
        assert (run_job(path).current, verify(tmp_path / "out").findings) == (1, ())
    assert [entry.current for entry in history(path)] == [True, False, False, False]
    text = (tmp_path / "out" / "register.csv").read_text(encoding="utf-8")
    (tmp_path / "out" / "register.csv").unlink()  # it is made again of the records and the note
    run_job(path)
    again = (tmp_path / "out" / "register.csv").read_text(encoding="utf-8")
    assert again.count(",released,") == text.count(",released,") == 1 and shown(path) == "001"

    code(path, "GATE")
    assert (run_job(path).current, shown(path)) == (5, "005")


def test_a_hand_decides_of_what_is_made_again_too(
    job: tuple[Simulation, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = passed_over(*job, tmp_path)
    upgrade(monkeypatch, 3)
    assert run_job(path).current == 1
    release(path, 3, "they are now")
    assert shown(path) == "003"
    # what was released itself is followed by the same, of which the program may know more
    upgrade(monkeypatch, 4)
    assert (run_job(path).current, shown(path)) == (4, "004")


def test_a_change_and_another_version_at_once_are_a_change(
    job: tuple[Simulation, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = passed_over(*job, tmp_path)
    upgrade(monkeypatch, 3)
    code(path, "GATE")
    assert (run_job(path).current, shown(path)) == (3, "003")


def test_of_two_that_wait_the_earlier_is_released(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    """What waits says what drafters have now, rather than what they had when it was made."""
    made, path = job
    mistype(made, tmp_path, 0.9)
    run_once(path)
    path.write_text(path.read_text(encoding="utf-8") + '\n[particulars]\ncrew = "two"\n', encoding="utf-8")
    assert run_job(path).record["issue"] == 3 and shown(path) == "001"
    assert "current when this issue was made" not in tiedown("run", path)[1]  # as it is still
    release(path, 2, "the mark was moved")
    said = tiedown("run", path)[1]
    assert "PENDING: current stays at issue 002" in said
    assert re.search(r"points? of issue 001 \(current when this issue was made\): \d", said)
    said = tiedown("office", path, "--to", tmp_path / "page.html")[1]
    assert "issue 003 waits to be released; current stays at issue 002" in said
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "of issue 001 (current when this issue was made): " in page
    drawn = tmp_path / "out" / "issues" / "002" / "simulated-002.html"
    drawn.write_text(drawn.read_text(encoding="utf-8") + " ", encoding="utf-8")
    for words in (["run"], ["run", "--dry-run"], ["check"]):  # what is drawn from is looked at too
        code, said = tiedown(*words, path)
        assert code == 2 and "issue 002 is damaged: the file is not what was issued" in said


def test_what_cannot_be_released_is_refused(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    made, path = job
    mistype(made, tmp_path, 0.9)
    run_once(path)
    for number, because, what in ((7, "x", "no issue 007"), (2, " \n", "no reason")):
        with pytest.raises(JobError, match=what):
            release(path, number, because)
    assert tiedown("release", path, 2)[0] == 2
    with job_lock(tmp_path / "out"), pytest.raises(JobHeld):
        release(path, 2, "x")
    package = tmp_path / "out" / "issues" / "002" / "simulated-002.html"
    package.write_text("altered")
    with pytest.raises(JobError, match="not what was issued"):
        release(path, 2, "x")
    assert shown(path) == "001" and not (tmp_path / "out" / ".released").exists()


def test_a_release_that_died_halfway_is_ended_by_the_next_run(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    """The note is written first, in one step; what comes after it can be made again from it."""
    made, path = job
    mistype(made, tmp_path, 0.9)
    run_once(path)
    write_release(tmp_path / "out", ManualRelease(2, 2, datetime(2026, 3, 4, tzinfo=UTC), "seen"))
    assert run_job(path).current == 2 and shown(path) == "002"
    lines = (tmp_path / "out" / "register.csv").read_text(encoding="utf-8").splitlines()
    assert lines[-1] == "002,2026-03-04T00:00:00Z,released,seen"


def test_what_only_adds_is_released_although_a_check_fails(tmp_path: Path) -> None:
    """The first issue has a failing check already; then there is a point more."""
    made = simulate(PLAN)
    made.knock_base(1, 0.5, east=0.3)
    path = made.write(tmp_path)
    first = run_job(path)
    assert (first.exit_code, first.current) == (3, 1)
    more = {"Point": "Z1", "Observed": "2026-03-01T21:30:00Z", "Code": "ROAD-EDGE", "Base": "BASE-01"}
    append_rows(tmp_path / "rover001.csv", [more])
    second = run_job(path)
    changes = second.record["changes"]
    assert changes is not None and changes["added"] == 1 and changes["held"] == 0
    assert (second.exit_code, second.current, second.waits) == (3, 2, ())


def test_rules_of_the_job_file(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    """Each rule is asked of the issue that waits, without a new one: a rule shapes no issue."""
    made, path = job
    mistype(made, tmp_path, 0.9)
    run_once(path)
    text = path.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[issue]\nrelease = "proven"\n', encoding="utf-8")
    assert run_job(path).current == 1
    replace_in(path, {'"proven"': '"any"'})
    followed = run_job(path)
    assert not followed.issued and followed.current == 2 and shown(path) == "002"
    assert [why for _, why in history(path)[1].released] == ['issue.release is "any" now']
    release(path, 1, "no")
    assert run_job(path).current == 1  # what a hand decided stands


def test_a_first_issue_that_is_not_proven_waits_where_the_rule_is_proven(tmp_path: Path) -> None:
    made = simulate(PLAN)
    made.job["issue"] = {"release": "proven"}
    made.job["session"][1]["checks"] = []
    made.job["checks"] = {"codes": []}
    made.keep((made.rows["kind"] != "check") | (made.rows["session"] == 0))
    path = made.write(tmp_path)
    first = run_job(path)
    assert first.record["verdict"] == "unchecked" and (first.current, first.exit_code) == (None, 3)
    assert not os.path.lexists(tmp_path / "out" / "current") and verify(tmp_path / "out").findings == ()
    assert "there is no current issue yet" in tiedown("run", path)[1]
    release(path, 1, "known to be good")
    assert shown(path) == "001" and run_job(path).exit_code == 0


# The names that stay


def test_every_file_has_a_name_that_stays(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    made, path = job
    out, plain = tmp_path / "out", tmp_path / "out" / "current" / "simulated.gpkg"
    assert plain.read_bytes() == (out / "issues" / "001" / "simulated-001.gpkg").read_bytes()
    assert os.readlink(plain) == "simulated-001.gpkg" and (out / "current" / "simulated.html").is_file()
    mistype(made, tmp_path, 0.002)
    run_job(path)
    assert plain.read_bytes() == current_issue(out).package.read_bytes()
    assert plain.resolve().name == "simulated-002.gpkg"
    plain.unlink()
    plain.symlink_to("../001/simulated-001.gpkg")
    assert [one.file for one in verify(out).findings if one.differs] == ["simulated.gpkg"]


def test_an_issue_made_before_there_were_such_names_gets_them(job: tuple[Simulation, Path], tmp_path: Path) -> None:
    """By the next run, whether it issues or not; the issue's own files are not touched."""
    _, path = job
    out, issue = tmp_path / "out", tmp_path / "out" / "issues" / "001"
    for name in ("simulated.gpkg", "simulated.html"):
        (issue / name).unlink()
    before = {name.name: name.stat().st_mtime_ns for name in issue.iterdir()}
    (remark,) = verify(out).findings
    assert not remark.differs and "simulated.gpkg" in remark.what
    assert not run_job(path).issued and verify(out).findings == ()
    assert before.items() <= {name.name: name.stat().st_mtime_ns for name in issue.iterdir()}.items()
    assert [number for number, _ in issues(out)] == [1]


def test_check_holds_the_register_against_the_issue_that_a_run_compares_with(
    job: tuple[Simulation, Path], tmp_path: Path
) -> None:
    """Not against the newest one, which waits: its register has the slip, and the first one's has not."""
    made, path = job
    at = list(made.register["mark"]).index("CM2")
    good = float(made.register["easting"][at])
    text = f"{good:.5f}"
    tens, units = int(text[-8]), int(text[-7])
    assert tens != units, "two digits of it can be swapped"
    mistype(made, tmp_path, (units - tens) * 10.0 + (tens - units) * 1.0)
    assert run_job(path).current == 1
    code, said = tiedown("check", path)
    assert code == 0 and f"but {good:.5f} in issue 001" in said, said
    mistype(made, tmp_path, -((units - tens) * 10.0 + (tens - units) * 1.0))
    said = tiedown("check", path)[1]
    assert "failed in issue 002" in said and not re.search(r"but [\d.]+ in issue", said), said


@pytest.mark.parametrize("how", ["no register has the marks", "all points are float"])
def test_an_issue_without_any_point_waits(how: str, job: tuple[Simulation, Path], tmp_path: Path) -> None:
    """A mark that two sessions tie to is gone from the register, or what was fixed comes as float: no check fails."""
    _, path = job
    if how == "no register has the marks":
        text = re.sub(r"(?m)^checks = .*$", "", path.read_text(encoding="utf-8"))
        path.write_text(re.sub(r'mark = "CM\d"', 'mark = "CM1"', text), encoding="utf-8")
        register = (tmp_path / "register.csv").read_text(encoding="utf-8")
        (tmp_path / "register.csv").write_text(register.replace("CM", "BM7"), encoding="utf-8")
    else:
        worse = {"CM": "fix", "CHK": "fix"}
        rewrite_export(tmp_path / "rover001.csv", lambda row: {**row, "Sol": worse.get(row["Code"], "float")})
    second = run_job(path)
    assert second.record["rows"]["points"] == 0 and (second.exit_code, second.current, shown(path)) == (3, 1, "001")
    code, said = tiedown("run", "--quiet", path)
    assert code == 3 and "session session-01 has no point left: 6 points of issue 001: 6 held back" in said


def test_a_mark_that_differs_from_the_registers_by_a_hyphen_is_refused(
    job: tuple[Simulation, Path], tmp_path: Path
) -> None:
    """Two sessions tie to it, as they would to a temporary mark."""
    _, path = job
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('mark = "CM2"', 'mark = "CM1"'), encoding="utf-8")
    replace_in(tmp_path / "register.csv", {"CM1,": "CM-1,"})
    code, said = tiedown("run", path)
    assert code == 2 and "did you mean CM-1?" in said and shown(path) == "001"


SECOND_DAY = Plan(sessions=2, points=6, ties=1, checks=3, marks=5, noise=False, seed=7)


def of_second_session(row: dict[str, str]) -> bool:
    """Whether a row of the simulated export is a point of session 2 and no occupation of a mark."""
    return row["Point"].startswith("S02-") and row["Point"][4:].isdigit()


@pytest.mark.parametrize("rule", ["safe", "proven"])
def test_a_day_exported_again_with_its_marks_alone_waits(rule: str, tmp_path: Path) -> None:
    """All checks of both days agree, so nothing else tells that six of twelve points are gone from the drawing."""
    path = simulate(SECOND_DAY).write(tmp_path)
    path.write_text(f'{path.read_text(encoding="utf-8")}\n[issue]\nrelease = "{rule}"\n', encoding="utf-8")
    assert run_job(path).exit_code == 0
    rows = csv_rows(tmp_path / "rover001.csv")
    write_csv(tmp_path / "rover001.csv", [row for row in rows if not of_second_session(row)])
    second = run_job(path)
    assert (second.record["verdict"], second.record["rows"]["points"]) == ("proven", 6)
    assert (second.exit_code, second.current, shown(path)) == (3, 1, "001")
    code, said = tiedown("run", "--quiet", path)
    assert code == 3 and "session session-02 has no point left: 6 points of issue 001: 6 withdrawn" in said
    assert tiedown("release", path, 2, "--because", "the day was no good")[0] == 0 and shown(path) == "002"
    assert run_job(path).exit_code == 0
    write_csv(tmp_path / "rover001.csv", rows)
    assert (run_job(path).exit_code, shown(path)) == (0, "003")


def trial_point(row: dict[str, str]) -> dict[str, str]:
    """Another point than the one of a row, 1 m north of it a minute later, as of a day that was begun again."""
    time = np.datetime64(row["Observed"].removesuffix("Z")) + np.timedelta64(7, "s")
    return row | {"Point": f"N{row['Point']}", "Lat": str(float(row["Lat"]) + 1e-5), "Observed": f"{time}Z"}


def measured_again(row: dict[str, str], rows: list[dict[str, str]]) -> dict[str, str]:
    """A reading of session 2 as if of the point of session 1 with its number: CM3, which both saw, joins them."""
    by_name = {one["Point"]: one for one in rows}
    same, one, other = by_name[f"S01-{row['Point'][4:]}"], by_name["S01-C2"], by_name["S02-C1"]
    place = {key: str(float(same[key]) + float(other[key]) - float(one[key])) for key in ("Lat", "Lon", "EllHt")}
    return row | place | {"Point": same["Point"]}


_NO_LOSS = ["renamed", "another export", "marks alone from the first issue", "measured again", "points of another name"]


@pytest.mark.parametrize("how", _NO_LOSS)
def test_what_is_no_loss_of_a_session_is_followed(how: str, tmp_path: Path) -> None:
    """Points that are issued under another session or from another file, and a session that never had any."""
    path, export = simulate(SECOND_DAY).write(tmp_path), tmp_path / "rover001.csv"
    rows = csv_rows(export)
    points = [row for row in rows if of_second_session(row)]
    others = [row for row in rows if not of_second_session(row)]
    assert len(points) == 6
    if how == "marks alone from the first issue":
        write_csv(export, others)
        assert run_job(path).exit_code == 0
        write_csv(export, [row for row in others if row["Point"] != "S01-00001"])
    elif how == "measured again":
        write_csv(export, [measured_again(row, rows) if row in points else row for row in rows])
        assert run_job(path).record["rows"]["points"] == 12
        path.write_text(f'{path.read_text(encoding="utf-8")}\n[issue]\nrepeats = "mean"\n', encoding="utf-8")
    else:
        assert run_job(path).exit_code == 0
        if how == "points of another name":
            write_csv(export, [*others, *(trial_point(row) for row in points)])
        elif how == "renamed":
            replace_in(path, {"session-02": "tuesday"})
        else:
            write_csv(export, others)
            write_csv(tmp_path / "rover002.csv", points)
    found = run_job(path)
    assert found.record["release"] is not None and not found.record["release"]["at_stake"]
    assert (found.exit_code, shown(path)) == (0, "002")
