"""Each point names as a reason for its change what reached it, and nothing else."""

import hashlib
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from first_issue import first_issue, run_once
from running import replace_in, rewrite_export
from sealed_by_hand import seal
from second_issues import rewrite_register, rows_of, tie_of
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.cli.history_command import show_history
from pipeline.reissue.former_tables import changed_keys
from pipeline.reissue.register_changes import marks_gone_and_new
from pipeline.run.run_job import Outcome


@pytest.fixture
def job() -> Simulation:
    """Three sessions, each tied to a mark of its own and checked on others; the first also on one that ties none."""
    found = simulate(Plan(sessions=3, points=40, ties=1, checks=3, marks=4, seed=7))
    assert check_of(found, 0)
    return found


def check_of(job: Simulation, session: int) -> str:
    """A mark that a session checks on and that ties none."""
    ties = {tie_of(job, number) for number in range(3)}
    marks = [check["mark"] for check in job.job["session"][session]["checks"]]
    return str(next(mark for mark in marks if mark not in ties))


def without_session(path: Path, name: str) -> None:
    text = path.read_text(encoding="utf-8")
    parts = re.split(r"(?m)^(?=\[)", text)
    path.write_text("".join(part for part in parts if f'name = "{name}"' not in part), encoding="utf-8")


def test_a_check_mark_moves_nothing(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    mark = check_of(job, 0)
    rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "easting", 0.006)
    old, new = rewrite_register(tmp_path / "register.csv", mark, "northing", 0.004)
    second = run_job(path)
    rows = rows_of(second, "changes")
    assert len(rows) == 40 and {row["change"] for row in rows} == {"moved"}
    assert all(
        row["because"].startswith(f"{tie_of(job, 0)} easting") and mark not in row["because"] for row in every(rows)
    )
    assert any(text.startswith(f"{mark} northing {old} to {new}") for text in second.record["changes"]["because"])


def test_a_check_mark_that_fails_now_is_why_points_are_held(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    mark = check_of(job, 0)
    old, new = rewrite_register(tmp_path / "register.csv", mark, "northing", 0.9)
    rows = rows_of(run_job(path), "changes")
    assert rows and {row["change"] for row in rows} == {"held"}
    assert {row["because"] for row in rows} == {f"{mark} northing {old} to {new} in the register"}


def test_a_session_that_is_withdrawn_is_no_change_of_the_register(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    without_session(path, "session-02")
    second = run_job(path)
    rows = rows_of(second, "changes")
    assert len(rows) == 40
    assert {(row["change"], row["because"]) for row in rows} == {("held", "session session-02 is gone")}
    assert second.record["changes"]["because"] == ["session session-02 is gone"]


def test_a_recoded_point_is_counted_and_told(
    job: Simulation, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = job.write(tmp_path)
    first = first_issue(path)
    names = {row["name"] for row in rows_of(first, "points")[:3]}
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | ({"Code": "TREE"} if row["Point"] in names else {}))
    second = run_job(path)
    rows = rows_of(second, "changes")
    assert {(row["name"], row["change"]) for row in rows} == {(name, "recoded") for name in names}
    assert all(" to TREE; the raw file rover001.csv changed" in row["because"] for row in every(rows))
    changes = second.record["changes"]
    assert (changes["attributes"], changes["moved"], changes["added"], changes["withdrawn"]) == (3, 0, 0, 0)
    assert "the code or another attribute of 3 points changed" in changes["because"]
    show_history(path, as_json=False)
    told = capsys.readouterr().out
    assert "3 recoded" in told and "no point changed" not in told


def test_a_renamed_point_is_recoded_and_neither_gone_nor_new(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    name = str(rows_of(first_issue(path), "points")[0]["name"])
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | ({"Point": "P-9"} if row["Point"] == name else {}))
    second = run_job(path)
    (row,) = rows_of(second, "changes")
    told = f"name {name} to P-9; the raw file rover001.csv changed"
    assert (row["name"], row["change"], row["because"]) == ("P-9", "recoded", told)
    changes = second.record["changes"]
    assert (changes["recoded"], changes["added"], changes["withdrawn"], changes["attributes"]) == (1, 0, 0, 0)


def test_a_revision_that_touches_no_file_changes_no_attribute(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "easting", 0.006)
    assert run_job(path).record["changes"]["attributes"] == 0


def test_other_coordinates_in_the_export_name_the_export_alone(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first = first_issue(path)
    name = rows_of(first, "points")[0]["name"]

    def higher(row: dict[str, str]) -> dict[str, str]:
        return row | ({"EllHt": f"{float(row['EllHt']) + 0.1:.4f}"} if row["Point"] == name else {})

    rewrite_export(tmp_path / "rover001.csv", higher)
    (row,) = rows_of(run_job(path), "changes")
    assert (row["name"], row["change"]) == (name, "moved")
    assert row["because"] == "the raw file rover001.csv changed"


def test_settings_hold_points_back_and_move_none(job: Simulation, tmp_path: Path) -> None:
    """A tolerance that no check meets any more; then a tie mark is revised while points of all sessions come back."""
    job.job["issue"] = {"release": "any"}  # what changed is told since the issue that is in use
    path = job.write(tmp_path)
    run_once(path)
    plain = path.read_text(encoding="utf-8")
    path.write_text(f"{plain}\n[checks]\nhorizontal = 0.00001\n", encoding="utf-8")
    rows = rows_of(run_job(path), "changes")
    assert {(row["change"], row["because"]) for row in rows} == {
        ("held", "the job file changed: [checks] horizontal 0.030 -> 0.00001")
    }
    old, new = rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "easting", 0.006)
    path.write_text(plain, encoding="utf-8")
    rows = rows_of(run_job(path), "changes")
    assert len(rows) == 120 and {row["change"] for row in rows} == {"released"}
    mark = f"{tie_of(job, 0)} easting {old} to {new} in the register; "
    back = "the job file changed: [checks] horizontal 0.00001 -> 0.030"
    assert {row["because"].removeprefix(mark) for row in rows} == {back}


def test_changed_keys_of_the_job_file_are_told_with_what_they_said(job: Simulation, tmp_path: Path) -> None:
    """A record keeps particulars, and checksums of all else, which tell likely values of before; else those of now."""
    job.job["issue"] = {"release": "any"}
    path = job.write(tmp_path)
    run_once(path)
    plain = path.read_text(encoding="utf-8")
    told = []
    for more in ('hold_back = ["unclosed", "suspect"]', 'formats = ["csv"]\nrepeats = "last"\nby_code = true'):
        path.write_text(plain.replace('release = "any"', f'release = "any"\n{more}'), encoding="utf-8")
        told += every(run_job(path).record["changes"]["because"])
    for limits in ("max_pdop = 3.5", 'max_pdop = 6\nsolutions = ["fix", "fixed"]', "scale = 1.25"):
        path.write_text(plain.replace("[quality]", f"[quality]\n{limits}"), encoding="utf-8")
        told += every(run_job(path).record["changes"]["because"])
    for client in ("Canal Board", "Harbour\nBoard"):
        path.write_text(f"{plain}\n[particulars]\nclient = {json.dumps(client)}\n", encoding="utf-8")
        told += run_job(path).record["changes"]["because"]
    of = "the job file changed: "
    assert told == [
        f"{of}[issue] hold_back [suspect] -> [suspect, unclosed]",
        f"{of}[issue] hold_back [suspect, unclosed] -> [suspect], formats [gpkg] -> [csv, gpkg], repeats all -> last,"
        " by_code false -> true",
        f"{of}limits of [quality] max_pdop not stated -> 3.5; [issue] formats [csv, gpkg] -> [gpkg], repeats last ->"
        " all, by_code true -> false",
        f"{of}limits of [quality], which now says only solutions [fix, fixed], max_sigma_horizontal 0.05, max_pdop 6",
        f"{of}[quality] scale 1 -> 1.25",
        f"{of}limits of [quality], which now says only max_sigma_horizontal 0.05",
        f"{of}[quality] scale 1.25 -> 1",
        f"{of}[particulars] client not stated -> Canal Board",
        f"{of}[particulars] client Canal Board -> Harbour Board",
    ]


def test_a_limit_that_is_taken_out_is_named_and_no_key_that_stays(job: Simulation, tmp_path: Path) -> None:
    """Its number is found where people write such numbers; else nothing says that a key that is there is the reason."""
    path = job.write(tmp_path)
    plain = path.read_text(encoding="utf-8")
    told = []
    for number in ("0.012", "2.5", "0.0123"):
        limit = f"max_sigma_vertical = {number}"
        path.write_text(plain.replace("[quality]", f"[quality]\n{limit}"), encoding="utf-8")
        run_job(path)
        path.write_text(plain, encoding="utf-8")
        told += every(run_job(path).record["changes"]["because"])
    assert told == [
        *(f"the job file changed: limits of [quality] max_sigma_vertical {n} -> not stated" for n in ("0.012", "2.5")),
        "the job file changed: limits of [quality], which now says only max_sigma_horizontal 0.05",
    ]


@pytest.mark.parametrize(
    ("part", "now", "then", "told"),
    [
        ("[shift]", {"model": "grid"}, {"model": "geocentric"}, ["model geocentric -> grid"]),
        ("limits of [shift]", {"limit_horizontal": 10.0, "limit_vertical": 20.0},
         {"limit_horizontal": 45.0, "limit_vertical": 20.0}, ["limit_horizontal 45 -> 10"]),
        ("[target]", {"grid": "EPSG:2193"}, {"grid": "EPSG:2194"}, []),
    ],
)  # fmt: skip
def test_a_sum_tells_what_a_table_said(part: str, now: Any, then: Any, told: list[str]) -> None:
    """Sums as records have them: SHA-256 of the table as JSON, as a JSON text."""
    text = json.dumps(json.dumps(then, sort_keys=True))
    assert changed_keys(part, now, hashlib.sha256(text.encode()).hexdigest()) == told


def test_a_session_that_ends_sooner_is_why_its_last_points_are_held(job: Simulation, tmp_path: Path) -> None:
    """It ends an instant before its last point; the check that came after is none of its own any more."""
    later = job.job["session"][0]["checks"].pop()["point"]
    job.keep((job.rows["name"] != later).nonzero()[0])
    path = job.write(tmp_path)
    first = run_job(path)
    last = max(row["observed"] for row in rows_of(first, "points") if row["session"] == "session-01")
    (end,) = re.findall(r'(?s)name = "session-01".*?\nend = (\S+)', path.read_text(encoding="utf-8"))
    replace_in(path, {end: last})
    rows = rows_of(run_job(path), "changes")
    assert [row["change"] for row in rows] == ["held"]
    assert re.fullmatch(r"session session-01 changed: end \S+ \S+ -> \S+ \S+ UTC", rows[0]["because"])


def test_a_mark_that_left_the_register_or_is_used_no_more_or_anew_is_named() -> None:
    """Marks by name alone; a register in which none did is told as changed, as before."""
    before: list[Any] = [{"mark": "A"}, {"mark": "B"}]
    after: list[Any] = [{"mark": "B"}, {"mark": "C"}]
    told = ["mark A is gone from the register", "mark C is now used and was not before"]
    assert marks_gone_and_new(before, after) == told and marks_gone_and_new(after, after) == []
    assert marks_gone_and_new(before, after, {"A", "B", "C"})[0] == "mark A is no longer used"


def test_a_tie_taken_out_of_the_job_takes_no_mark_out_of_the_register(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=10, ties=2, marks=5))
    run_job(job.write(tmp_path))
    mark = job.job["session"][0]["ties"].pop()["mark"]
    because = run_job(job.write(tmp_path)).record["changes"]["because"]
    assert f"mark {mark} is no longer used" in because


def test_an_edited_date_of_control_makes_an_issue_that_says_so_and_moves_nothing(
    job: Simulation, tmp_path: Path
) -> None:
    """Its report is signed with source and date of control, so that one which shows the old date must not stand."""
    path, register, mark = job.write(tmp_path), tmp_path / "register.csv", tie_of(job, 0)
    rewrite_export(register, lambda row: row | {"source": "county", "dated": "2019-05-01"})
    first = run_job(path)
    _without_part(first, "source and date of control")
    assert not run_job(path).issued, "an issue of a version that had no such part"
    rewrite_export(register, lambda row: row | ({"dated": "2026-02-01"} if row["mark"] == mark else {}))
    second = run_job(path)
    assert second.issued and second.record["changes"] is not None
    told = f"mark {mark} in the register: date was '2019-05-01' and is now '2026-02-01'"
    assert list(second.record["changes"]["because"]) == [told]
    assert rows_of(second, "changes") == [] and rows_of(second, "points") == rows_of(first, "points")
    assert second.current == 2 and not run_job(path).issued
    of_checks = check_of(job, 0)
    rewrite_export(register, lambda row: row | ({"source": "city"} if row["mark"] == of_checks else {}))
    assert f"mark {of_checks} in the register: source was 'county' and is now 'city'" in str(
        run_job(path).record["changes"]
    )


def _without_part(outcome: Outcome, part: str) -> None:
    """Let the record of an issue lack a part of its identity."""
    assert outcome.folder is not None
    record = outcome.folder / "issue.json"
    said = json.loads(record.read_text(encoding="utf-8"))
    del said["identity"][part]
    seal(record, said)


def test_a_session_by_another_name_is_neither_gone_nor_new(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    replace_in(path, {'name = "session-02"': 'name = "tuesday"'})
    second = run_job(path)
    assert second.record["changes"]["because"] == ["session session-02 is called tuesday now"]
    assert not {row["change"] for row in rows_of(second, "changes")} & {"moved", "added", "withdrawn", "held"}
    replace_in(path, {'name = "tuesday"': 'name = "day 2"\nshift = "none"'})
    third = run_job(path).record["changes"]
    assert "session tuesday is called day 2 now, and is changed" in third["because"] if third else False


def because(outcome: Outcome) -> list[str]:
    assert outcome.issued and outcome.record["changes"] is not None
    return outcome.record["changes"]["because"]


def reordered(register: Path) -> None:
    """The register with its rows the other way round."""
    head, *rows = register.read_text(encoding="utf-8").splitlines()
    register.write_text("\n".join([head, *reversed(rows)]) + "\n", encoding="utf-8")


def test_the_order_of_the_registers_rows_makes_no_issue(job: Simulation, tmp_path: Path) -> None:
    """With sources and dates too; nor is it a reason beside another."""
    job.register |= {"source": np.array(["authority", "", "authority", "adjusted"]), "dated": np.full(4, "2025-11-03")}
    path = job.write(tmp_path)
    first_issue(path)
    reordered(tmp_path / "register.csv")
    for _ in range(2):
        assert not run_job(path).issued
    old, new = rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "easting", 0.006)
    (only,) = because(run_job(path))
    assert only.startswith(f"{tie_of(job, 0)} easting {old} to {new} in the register")
    reordered(tmp_path / "register.csv")
    assert not run_job(path).issued


def test_a_raw_file_with_another_name_is_called_so(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path, files=3)
    first_issue(path)
    (tmp_path / "rover002.csv").rename(tmp_path / "rover009.csv")
    told = because(run_job(path))
    assert told == ["the raw file rover002.csv is called rover009.csv now, with the same bytes"]


def test_a_raw_file_with_another_name_and_other_bytes_is_gone_and_new(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path, files=3)
    first_issue(path)
    (tmp_path / "rover002.csv").rename(tmp_path / "rover009.csv")
    with (tmp_path / "rover009.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    told = because(run_job(path))
    assert {"the raw file rover009.csv is new", "the raw file rover002.csv is gone"} <= set(told)


def test_of_two_raw_files_with_the_same_bytes_none_is_told_apart(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path, files=3)
    (tmp_path / "rover009.csv").write_bytes((tmp_path / "rover002.csv").read_bytes())
    run_job(path)
    for number in (2, 9):
        (tmp_path / f"rover00{number}.csv").rename(tmp_path / f"rover01{number}.csv")
    told = because(run_job(path))
    assert sorted(told) == sorted(f"the raw file rover0{name}.csv {how}" for name, how in (
        ("02", "is gone"), ("09", "is gone"), ("12", "is new"), ("19", "is new")))  # fmt: skip
