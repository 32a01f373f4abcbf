"""A field shift by the register's coordinates stays as it was taken out, whatever is called otherwise afterwards.

The register is revised by 20 mm to the east in the same step. What the field applied stays, so that every point moves
by the revision of the tie alone: 20 mm. Were it computed again, what carries it would stay where it was.
"""

import copy
import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from field_days import apply, since
from first_issue import run_once
from issued import Issue, current_issue, off_truth
from network_jobs import START, STEP, Network
from numpy.testing import assert_allclose
from record_of_before import as_schema_7
from running import issued_once, run_written
from simulate_files import write_job

from pipeline import run_job
from pipeline.aside import set_aside

TENTH_MM = 1e-4
BY = 0.020


def moment(step: int) -> dt.datetime:
    return START + step * STEP


def usual_day(called: str = "CM1", beside: bool = False) -> Network:
    """One session tied by CM1, whose first reading the equipment then corrected by; CM2 and CM1 close it.

    The equipment may have known CM1 by another name. A second base may run ``beside`` it, corrected by CM2 likewise.
    """
    work = Network()
    for name, east_north in {"CM1": (0, 0), called: (0, 0), "CM2": (700, -500)}.items():
        work.mark(name, *east_north)
    points = [(300 * k, 250 * k - 900) for k in range(6)]
    work.session("one", ties=["CM1"], points=points, checks=["CM2"], closing=["CM2", "CM1"])
    if beside:
        work.session("two", ties=["CM2"], points=[(50, 50)], checks=["CM1"], start=START)
        apply(work, since(work, moment(2), session=1), "two-CM2-1", np.array(work.marks.geographic("CM2")))
        work.job["session"][1]["field_shift"] = {"from": moment(2), "tie": "two-CM2-1", "mark": "CM2"}
    apply(work, since(work, moment(2)), "one-CM1-1", np.array(work.marks.geographic("CM1")))
    work.job["session"][0]["field_shift"] = {"from": moment(2), "tie": "one-CM1-1", "mark": called}
    return work


def renamed(told: Any, old: str, new: str) -> Any:
    """Return a job with a text in the place of another."""
    if isinstance(told, dict):
        return {key: renamed(value, old, new) for key, value in told.items()}
    if isinstance(told, list):
        return [renamed(value, old, new) for value in told]
    return new if told == old else told


def rename(work: Network, column: str, old: str, new: str) -> None:
    table = work.register if column == "mark" else work.rows
    table[column] = np.array([new if name == old else name for name in table[column]], object)
    work.job = renamed(work.job, old, new)


def alter(work: Network, what: str) -> None:
    session = work.job["session"][0]
    match what:
        case "mark":
            rename(work, "mark", "CM1", "CM1N")
        case "tie":
            rename(work, "name", "one-CM1-1", "morning")
        case "mark and tie":
            rename(work, "mark", "CM1", "CM1N")
            rename(work, "name", "one-CM1-1", "morning")
        case "session":
            session["name"] = "north"
        case "base":
            rename(work, "base", "B0000", "R7")
        case "all":
            for column, old, new in (("mark", "CM1", "1001"), ("name", "one-CM1-1", "m1"), ("base", "B0000", "R7")):
                rename(work, column, old, new)
            session = work.job["session"][0]
            session["name"] = "north"
        case "list":
            first = session["field_shift"]
            vector = {"from": moment(60), "until": moment(70), "east": 1.0, "north": 1.0, "up": 1.0}
            session["field_shift"] = [vector, first | {"until": moment(59)}]
        case "another reading":
            # the tie read once more, before the shift was on
            at = work.row("one-CM1-1")
            for values in work.rows:
                work.rows[values] = np.concatenate([work.rows[values], work.rows[values][at]])
            work.rows["name"][-1] = "again"
            work.rows["time"][-1] += np.timedelta64(20, "s")
            session["field_shift"] |= {"tie": "again"}
            session["name"] = "north"
        case "split":
            second = copy.deepcopy(session) | {"name": "late", "start": moment(5)}
            second["field_shift"]["from"] = moment(5)
            session["end"] = moment(5)
            second["ties"] = [{"point": work.rows["name"][-1], "mark": "CM1"}]
            session["checks"], second["checks"] = session["checks"][:1], session["checks"][1:]
            second["checks"] = [one for one in second["checks"] if one["point"] != work.rows["name"][-1]]
            work.job["session"] = [session, second]


ALTERED = ("mark", "tie", "mark and tie", "session", "base", "all", "list", "another reading", "split")


def moved(first: Issue, second: Issue) -> list[tuple[float, float, float]]:
    was = {row["name"]: row for row in first.points.rows}
    now = [(row, was[row["name"]]) for row in second.points.rows if row["name"] in was]
    return [tuple(a[key] - b[key] for key in ("easting", "northing", "height")) for a, b in now]


@pytest.mark.parametrize("what", ALTERED)
def test_what_the_field_applied_stays(what: str, tmp_path: Path) -> None:
    work = usual_day()
    path = work.write(tmp_path)
    first = issued_once(path)
    work.revise("CM1", BY)
    alter(work, what)
    work.write(tmp_path)
    outcome = run_job(path)
    assert outcome.issued
    second = current_issue(tmp_path / "out")
    assert_allclose(moved(first, second), np.tile([BY, 0, 0], (len(first.points.rows), 1)), rtol=0, atol=TENTH_MM)
    assert any("taken out as in issue 001" in note for note in second.record["notes"])
    assert not second.record["doubts"]
    assert not run_job(path).issued


@pytest.mark.parametrize("by", [0.3, 4.0])
def test_a_mark_that_nobody_can_tell_to_be_the_same_is_doubted_and_the_lines_told_cure_it(
    by: float, tmp_path: Path
) -> None:
    """Under another name and so far off it may be revised, or another mark; `one` says nothing of either."""
    work = usual_day("OLD")
    path = work.write(tmp_path)
    first = issued_once(path)
    work.revise("OLD", by)
    rename(work, "mark", "OLD", "CM9")
    work.write(tmp_path)
    assert run_job(path).exit_code == 3
    assert not run_job(path).issued  # what is doubted stays so
    doubts = run_job(path, dry_run=True).record["doubts"]
    (doubt,) = [one for one in doubts if "the mark OLD of issue 001 under another name" in one["what"]]
    assert doubt["what"].startswith("job.toml:")  # wherever the job lies
    assert doubt["kind"] == "shift"
    lines = re.search(r"what it had then: (easting = \S+, northing = \S+, height = \S+);", doubt["what"])
    assert lines is not None
    stated = path.read_text()
    assert stated.count('mark = "CM9"') == 1
    path.write_text(stated.replace('mark = "CM9"', f'mark = "CM9", {lines[1]}'))
    third = run_written(path)
    assert_allclose(moved(first, third), np.zeros((len(first.points.rows), 3)), rtol=0, atol=TENTH_MM)


def test_a_slip_put_right_is_no_doubt(tmp_path: Path) -> None:
    """The field shift was told to be on CM2, and was on CM1; both are in the register as they were."""
    work = usual_day()
    work.job["session"][0]["field_shift"]["mark"] = "CM2"
    path = work.write(tmp_path)
    assert run_job(path).exit_code == 3
    work.job["session"][0]["field_shift"]["mark"] = "CM1"
    work.write(tmp_path)
    record = run_job(path, dry_run=True).record
    assert not record["doubts"] and all(check["passed"] for check in every(record["checks"]))


def test_one_that_was_left_out_for_an_issue_comes_back_under_another_name(tmp_path: Path) -> None:
    """Beside another session's at the same time, which every issue has since the first."""
    work = usual_day(beside=True)
    path = work.write(tmp_path)
    first = issued_once(path)
    stated = work.job["session"][0].pop("field_shift")
    work.write(tmp_path)
    assert run_once(path).issued
    work.job["session"][0]["field_shift"] = stated
    work.revise("CM1", BY)
    rename(work, "mark", "CM1", "CM1N")
    work.write(tmp_path)
    assert run_job(path).issued
    third = json.loads((tmp_path / "out/issues/003/issue.json").read_text())
    assert third["field_shifts"][0]["since"] == third["field_shifts"][1]["since"] == 1
    vectors = [
        [one[f"shift_{axis}"] for axis in "xyz"] for one in (first.record["field_shifts"][0], third["field_shifts"][0])
    ]
    assert vectors[0] == vectors[1]


def again(path: Path) -> Any:
    """Run where nothing tells any more what the run before had confirmed."""
    (path.parent / "out/.confirmed").unlink(missing_ok=True)
    return run_job(path)


@pytest.mark.parametrize("beside", [False, True], ids=["alone", "beside another session's"])
def test_a_doubt_stays_though_the_issue_before_it_had_no_shift(beside: bool, tmp_path: Path) -> None:
    """Left out for an issue, then back under another name and 0.15 m off: whether that is revised nobody can tell."""
    work = usual_day(beside=beside)
    path = work.write(tmp_path)
    issued_once(path)
    stated = work.job["session"][0].pop("field_shift")
    work.write(tmp_path)
    assert run_once(path).issued
    work.job["session"][0]["field_shift"] = stated
    work.revise("CM1", 0.15)
    rename(work, "mark", "CM1", "CM1N")
    work.write(tmp_path)
    assert run_job(path).exit_code == 3
    outcome = again(path)
    assert (outcome.issued, outcome.exit_code) == (False, 3)
    # and so it is with the next issue, made for another reason
    work.job["quality"]["max_sigma_horizontal"] = 0.07
    work.write(tmp_path)
    outcome = again(path)
    assert (outcome.issued, outcome.exit_code) == (True, 3)
    doubts = json.loads((tmp_path / "out/issues/004/issue.json").read_text())["doubts"]
    assert any("the mark CM1 of issue 001 under another name" in one["what"] for one in doubts)
    work.job["checks"] = {"confirmed": ["shift"]}
    work.write(tmp_path)
    assert all(one["confirmed"] for one in every(run_job(path, dry_run=True).record["doubts"]))


def test_a_doubt_stays_where_the_mark_gets_its_name_back_but_not_its_numbers(tmp_path: Path) -> None:
    work = usual_day()
    path = work.write(tmp_path)
    issued_once(path)
    work.revise("CM1", 0.15)
    rename(work, "mark", "CM1", "CM1N")
    work.write(tmp_path)
    assert run_once(path).exit_code == 3
    rename(work, "mark", "CM1N", "CM1")
    work.write(tmp_path)
    outcome = run_job(path)
    assert (outcome.issued, outcome.exit_code) == (True, 3)
    record = json.loads((tmp_path / "out/issues/003/issue.json").read_text())
    assert record["field_shifts"][0]["since"] == 2
    assert any("what it had then: easting" in one["what"] for one in record["doubts"])


@pytest.mark.parametrize(
    ("beside", "known"), [((1.5, 0), True), ((800, 0), True), ((800, 0), False)], ids=["near", "far", "far and new"]
)
def test_a_shift_worked_out_by_another_mark_is_no_doubt(
    beside: tuple[float, float], known: bool, tmp_path: Path
) -> None:
    """It is by CM1 first, then by CM3, which gives the same; CM1 is taken out of the register in the same step.

    CM3 was occupied in the first issue and has its numbers still, or it is new, and 800 m from where CM1 was.
    """
    work = Network()
    for name, east_north in {"CM1": (0, 0), "CM2": (700, -500), "CM3": beside}.items():
        work.mark(name, *east_north)
    work.session("one", ties=["CM1", "CM3"], points=[(300, 250)], checks=["CM2"], closing=["CM2"])
    apply(work, since(work, moment(3)), "one-CM1-1", np.array(work.marks.geographic("CM1")))
    session = work.job["session"][0]
    ties = session["ties"]
    session["ties"] = ties if known else ties[:1]
    session["field_shift"] = {"from": moment(3), "tie": "one-CM1-1", "mark": "CM1"}
    path = work.write(tmp_path)
    first = issued_once(path)
    session["field_shift"] |= {"tie": "one-CM3-1", "mark": "CM3"}
    session["ties"] = ties[1:]
    kept = work.register["mark"] != "CM1"
    work.register = {name: values[kept] for name, values in work.register.items()}
    second = run_written(work.write(tmp_path))
    assert second.record["issue"] == 2 and not second.record["doubts"]
    was = {row["name"]: row for row in first.points.rows}
    assert [row for row in second.points.rows if row["name"] in was]
    assert_allclose(moved(first, second), 0, rtol=0, atol=TENTH_MM)


@pytest.mark.parametrize("updated", [False, True], ids=["the same version", "updated in between"])
@pytest.mark.parametrize("how", ["damaged", "set aside"])
def test_a_doubt_stays_where_the_issue_that_it_is_held_against_is_lost(how: str, updated: bool, tmp_path: Path) -> None:
    work = usual_day()
    path = work.write(tmp_path)
    (taken,) = issued_once(path).record["field_shifts"]
    work.revise("CM1", 0.15)
    rename(work, "mark", "CM1", "CM1N")
    work.write(tmp_path)
    assert run_once(path).exit_code == 3
    if updated:
        as_schema_7(tmp_path / "out")
    (tmp_path / "out/issues/001/issue.json").write_text("{}")
    if how == "set aside":
        set_aside(path, 1)
    for number in (3, 4):
        work.job["quality"]["max_sigma_horizontal"] = 0.07 + number / 1000
        work.write(tmp_path)
        assert again(path).exit_code == 3
        record = json.loads((tmp_path / f"out/issues/{number:03d}/issue.json").read_text())
        assert any("no longer records it" in one["what"] for one in record["doubts"])
    work.job["session"][0]["field_shift"] |= {key: taken[f"known_{key}"] for key in ("easting", "northing", "height")}
    work.write(tmp_path)
    assert not run_job(path, dry_run=True).record["doubts"]


@pytest.mark.parametrize("mark", ["CM1", "CM1N"], ids=["files", "files and mark"])
@pytest.mark.parametrize("names", [(1,), (2,), (1, 2)], ids=["the tie's", "what carries it", "both"])
def test_exports_called_otherwise_carry_what_they_carried(names: tuple[int, ...], mark: str, tmp_path: Path) -> None:
    """Of two exports the second carries it, as its ``files`` says; the first has the tie it was worked out from."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    points = [(300 * k, 250 * k - 900) for k in range(6)]
    work.session("one", ties=["CM1"], points=points, checks=["CM2"], closing=["CM2"])
    late = np.arange(len(work.rows["name"])) >= 5
    apply(work, since(work, moment(2)) & late, "one-CM1-1", np.array(work.marks.geographic("CM1")))
    stated = {"from": moment(2), "tie": "one-CM1-1", "mark": "CM1", "files": ["rover002.csv"]}
    work.job["session"][0]["field_shift"] = stated
    path = write_job(tmp_path, work.rows, work.register, work.job, "csv", 2, False)
    first = issued_once(path)
    assert len(first.points.rows) == len(points)
    assert_allclose(off_truth(first.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    work.revise("CM1", BY)
    rename(work, "mark", "CM1", mark)
    for file in tmp_path.glob("rover*.csv"):
        file.unlink()
    write_job(tmp_path, work.rows, work.register, work.job, "csv", 2, False)
    text = path.read_text()
    for number in names:
        (tmp_path / f"rover{number:03d}.csv").rename(tmp_path / f"team-{number}.csv")
        text = text.replace(f"rover{number:03d}.csv", f"team-{number}.csv")
    path.write_text(text.replace('["rover*.csv"]', '["*[12].csv"]'))
    assert run_job(path).issued
    second = current_issue(tmp_path / "out")
    assert {row["source_file"] for row in second.points.rows} >= {f"team-{number}.csv" for number in names}
    assert_allclose(moved(first, second), np.tile([BY, 0, 0], (len(points), 1)), rtol=0, atol=TENTH_MM)
    (taken,) = second.record["field_shifts"]
    assert taken["since"] == 1 and not second.record["doubts"]
