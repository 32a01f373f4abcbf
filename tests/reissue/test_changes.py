"""A second issue says what moved and why, and takes over to the bit what no change reaches."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from first_issue import first_issue
from running import rewrite_export
from second_issues import rewrite_register, rows_of, tie_of
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.reissue.register_changes import mark_changes


@pytest.fixture
def job() -> Simulation:
    """Three sessions, each tied to a mark of its own and checked on others."""
    return simulate(Plan(sessions=3, points=40, ties=1, checks=2, marks=4, seed=7))


def test_a_revised_mark_moves_the_points_that_hang_on_it_by_what_it_moved(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first = first_issue(path)
    old, new = rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "easting", 0.012)
    second = run_job(path)
    changes = rows_of(second, "changes")
    before = {row["name"]: row for row in rows_of(first, "points")}
    after = {row["name"]: row for row in rows_of(second, "points")}
    hanging = [s for s in range(3) if tie_of(job, s) == tie_of(job, 0)]
    sessions = {job.job["session"][s]["name"] for s in hanging}
    expected = {name for name, row in after.items() if row["session"] in sessions}
    assert {row["name"] for row in changes} == expected
    assert {row["change"] for row in changes} == {"moved"}
    # One tie holds a session alone, so the session moves as far as the mark; rotated over a kilometre or two at most.
    np.testing.assert_allclose([row["d_east"] for row in changes], 0.012, rtol=0, atol=1e-5)
    for row in changes:
        assert row["new_easting"] == after[row["name"]]["easting"]
        assert row["old_easting"] == before[row["name"]]["easting"]
        assert row["because"] == f"{tie_of(job, 0)} easting {old} to {new} in the register"
    record = second.record["changes"]
    assert (record["since"], record["moved"], record["added"], record["withdrawn"]) == (1, len(expected), 0, 0)
    assert record["max_horizontal"] == pytest.approx(0.012, abs=1e-5)
    (because,) = record["because"]
    assert because.startswith(f"{tie_of(job, 0)} easting {old} to {new} in the register; sessions ")
    assert all(name in because for name in every(sessions))


def test_what_is_taken_over_equals_a_full_run_to_the_bit(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path / "chain")
    first_issue(path)
    rewrite_register(tmp_path / "chain" / "register.csv", tie_of(job, 0), "northing", 0.01)
    partial = run_job(path)
    whole_path = job.write(tmp_path / "whole")
    (tmp_path / "whole" / "register.csv").write_bytes((tmp_path / "chain" / "register.csv").read_bytes())
    whole = run_job(whole_path)
    assert partial.record["issue"] == 2 and whole.record["issue"] == 1
    for layer in ("points", "check_marks", "sessions", "marks", "held_back"):
        assert rows_of(partial, layer) == rows_of(whole, layer)  # floats compare by their bits here


def test_unreached_points_are_not_computed_again(
    job: Simulation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "northing", 0.01)
    import pipeline.draft.second_pass as draft

    computed: list[int] = []
    real = draft.correct

    def counting(frames: Any, xyz: Any, session: Any, *more: Any) -> Any:
        computed.extend(np.asarray(session).tolist())
        return real(frames, xyz, session, *more)

    monkeypatch.setattr(draft, "correct", counting)
    run_job(path)
    hanging = {s for s in range(3) if tie_of(job, s) == tie_of(job, 0)}
    drafted = [session for session in computed if session not in hanging]
    # Of the other sessions only their occupations of marks are: the layer points does not hold them.
    assert len(drafted) == (3 - len(hanging)) * 3


def test_points_are_known_again_in_files_renamed_reordered_and_exported_with_more_rows(
    job: Simulation, tmp_path: Path
) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    export = tmp_path / "rover001.csv"
    lines = export.read_text(encoding="utf-8").splitlines()
    extra = lines[20].replace(lines[20].split(",")[0], "NEW1", 1)
    shuffled = [lines[0], *reversed(lines[1:]), extra.replace("Z,", ".250Z,", 1)]
    (tmp_path / "rover-again.csv").write_text("\n".join(shuffled) + "\n", encoding="utf-8")
    export.unlink()
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("rover001.csv", "rover-again.csv"), encoding="utf-8")
    second = run_job(path)
    changes = rows_of(second, "changes")
    assert [(row["name"], row["change"]) for row in changes] == [("NEW1", "added")]
    assert "rover-again.csv" in changes[0]["because"]


def test_withdrawn_held_and_released_points_are_told_apart(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first = first_issue(path)
    names = [row["name"] for row in rows_of(first, "points")]
    gone, float_now = names[3], names[5]
    export = tmp_path / "rover001.csv"

    def worse(row: dict[str, str]) -> dict[str, str]:
        return {**row, "Sol": "float"} if row["Point"] == float_now else row

    rewrite_export(export, worse)
    lines = [line for line in export.read_text(encoding="utf-8").splitlines() if not line.startswith(f"{gone},")]
    export.write_text("\n".join(lines) + "\n", encoding="utf-8")
    second = run_job(path)
    assert {(row["name"], row["change"]) for row in rows_of(second, "changes")} == {
        (gone, "withdrawn"), (float_now, "held"),
    }  # fmt: skip
    rewrite_export(export, lambda row: {**row, "Sol": "fix"})
    third = run_job(path)
    assert [(row["name"], row["change"]) for row in rows_of(third, "changes")] == [(float_now, "released")]
    assert third.record["changes"]["released"] == 1


def test_a_mark_that_nothing_occupies_makes_no_issue_when_it_is_revised(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    with (tmp_path / "register.csv").open("a", encoding="utf-8") as file:
        file.write("FAR1,1520000.000,5170000.000,300.000,0.01,0.02\n")
    first = run_job(path)
    rewrite_register(tmp_path / "register.csv", "FAR1", "easting", 5.0)
    second = run_job(path)
    assert not second.issued and second.exit_code == 0
    assert second.record["issue"] == first.record["issue"] == 1


def test_comments_and_order_in_the_job_file_make_no_issue_but_a_tolerance_does(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    path.write_text("# a comment\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    assert not run_job(path).issued
    path.write_text(path.read_text(encoding="utf-8") + "\n[shift]\nlimit_horizontal = 11.0\n", encoding="utf-8")
    second = run_job(path)
    assert second.issued and second.record["changes"]["because"] == [
        "the job file changed: limits of [shift] limit_horizontal 10 -> 11"
    ]
    assert second.record["changes"]["moved"] == 0


def test_an_unchanged_job_is_not_read_again(job: Simulation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = job.write(tmp_path)
    run_job(path)
    import pipeline.examine.examine as examine

    def never(*_: Any) -> Any:
        raise AssertionError("the exports were read although nothing had changed")

    monkeypatch.setattr(examine, "gather", never)
    assert not run_job(path).issued


def test_a_lost_note_of_what_was_at_hand_costs_time_and_nothing_else(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    (tmp_path / "out" / ".confirmed").unlink()
    assert not run_job(path).issued
    assert json.loads((tmp_path / "out" / ".confirmed").read_text(encoding="utf-8"))["issue"] == 1


def test_an_earlier_issue_that_is_damaged_does_not_stop_the_next(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first = first_issue(path)
    (package,) = first.glob("*-[0-9]*.gpkg")
    package.write_bytes(package.read_bytes()[:3000])
    rewrite_register(tmp_path / "register.csv", tie_of(job, 0), "easting", 0.012)
    second = run_job(path)
    assert second.issued and second.record["changes"]["since"] == 1
    assert any("are not listed" in text and package.name in text for text in second.record["changes"]["because"])


def test_coordinates_in_two_grids_are_not_subtracted(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    first_issue(path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('grid = "EPSG:2193"', 'grid = "EPSG:2134"', 1), encoding="utf-8")
    second = run_job(path)
    assert second.issued and "moved" not in second.record["changes"]
    assert any("are not listed: the grid was" in text for text in second.record["changes"]["because"])


def test_a_number_without_its_trailing_zeros_is_the_same_number() -> None:
    """It is named beside no change, and where nothing else changed it is said what it is."""
    before: Any = [{"mark": "CM1", "easting": "100.500", "northing": "7.0", "hu95": ""}]
    written: Any = [{"mark": "CM1", "easting": "100.5", "northing": "7.0", "hu95": ""}]
    told = "CM1 easting 100.500 to 100.5 in the register, the same numbers written otherwise"
    assert mark_changes(before, written) == {"CM1": told}
    moved: Any = [{"mark": "CM1", "easting": "100.5", "northing": "7.1", "hu95": ""}]
    assert mark_changes(before, moved) == {"CM1": "CM1 northing 7.0 to 7.1 in the register"}
    stated: Any = [{"mark": "CM1", "easting": "100.500", "northing": "7.0", "hu95": "0.02"}]
    assert mark_changes(before, stated) == {"CM1": "CM1 hu95 none to 0.02 in the register"}
