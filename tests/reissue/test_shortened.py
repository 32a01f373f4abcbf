"""An export that ends behind a row before rows that an earlier issue read of it: the earlier issue proves the loss.

What is cut away is known here; the checks are found by their code, so that no list names the one that is gone.
"""

from collections.abc import Callable
from pathlib import Path

import pytest
from first_issue import run_once
from running import Row, csv_rows, write_csv
from simulate import Plan, simulate

from pipeline import run_job


@pytest.fixture
def issued(tmp_path: Path) -> tuple[Path, Path]:
    """A job of one day with an issue, and its export: a tie and a check, twenty points, a closing check."""
    job = simulate(Plan(sessions=1, points=20, ties=1, checks=2, noise=False))
    for session in job.job["session"]:
        session["checks"] = []
    path = job.write(tmp_path)
    outcome = run_once(path)
    assert (outcome.exit_code, outcome.record["verdict"], len(outcome.record["checks"])) == (0, "proven", 3)
    return path, tmp_path / "rover001.csv"


def closing(rows: list[Row]) -> int:
    """The place of the last check among the rows."""
    return max(at for at, row in enumerate(rows) if row["Code"] == "CHK")


@pytest.mark.parametrize("before", [0, 1, 6])
def test_one_that_lost_its_end_with_a_check_is_in_doubt_until_it_is_whole(
    before: int, issued: tuple[Path, Path]
) -> None:
    """Cut right before the check, or some rows earlier; the next issue, made of the short file, takes it along."""
    path, export = issued
    rows = csv_rows(export)
    whole, end = export.read_bytes(), closing(rows) - before
    write_csv(export, rows[:end])
    outcome = run_job(path)
    (doubt,) = outcome.record["doubts"]
    told = doubt["what"]
    assert (outcome.exit_code, doubt["kind"], doubt["confirmed"]) == (3, "cut-off", False)
    assert f"rover001.csv:{end + 1}: " in told  # the heading is line 1
    assert f"has {end} rows where issue 001 read {len(rows)}" in told and f"{rows[closing(rows)]['Point']} on " in told
    path.write_text(path.read_text(encoding="utf-8") + "\n[issue]\nby_code = true\n", encoding="utf-8")
    again = run_job(path)
    assert again.record["issue"] == 3 and [one["kind"] for one in again.record["doubts"]] == ["cut-off"]
    export.write_bytes(whole)
    back = run_job(path)
    assert (back.exit_code, back.record["verdict"], back.record["doubts"]) == (0, "proven", [])


def test_one_that_was_shortened_on_purpose_is_confirmed_once(issued: tuple[Path, Path]) -> None:
    path, export = issued
    rows = csv_rows(export)
    write_csv(export, rows[: closing(rows)])
    text = path.read_text(encoding="utf-8")
    path.write_text(f'{text}\n[checks]\nconfirmed = ["cut-off"]\n', encoding="utf-8")
    outcome = run_job(path)
    assert outcome.exit_code == 0 and outcome.record["doubts"][0]["confirmed"]
    path.write_text(text, encoding="utf-8")
    assert not run_job(path).record["doubts"]


def points_alone(rows: list[Row]) -> list[Row]:
    """The last points deleted, the checks kept."""
    return [row for at, row in enumerate(rows) if row["Code"] == "CHK" or at < closing(rows) - 5]


def check_alone(rows: list[Row]) -> list[Row]:
    """A check deleted that has points behind it."""
    return [row for at, row in enumerate(rows) if at != 1 or row["Code"] != "CHK"]


def in_other_rows(rows: list[Row]) -> list[Row]:
    """Exported anew by other choices: without the first points and the last check."""
    return [row for at, row in enumerate(rows) if at not in (4, 5, closing(rows))]


def held_back(rows: list[Row]) -> list[Row]:
    """The check is there, and was no fixed solution."""
    last = closing(rows)
    return [row | {"Sol": "float"} if at == last else row for at, row in enumerate(rows)]


@pytest.mark.parametrize("change", [points_alone, check_alone, in_other_rows, held_back])
def test_what_is_otherwise_gone_is_told_as_before(
    change: Callable[[list[Row]], list[Row]], issued: tuple[Path, Path]
) -> None:
    path, export = issued
    write_csv(export, change(csv_rows(export)))
    assert not [one for one in run_job(path).record["doubts"] if one["kind"] == "cut-off"]


def test_the_rest_in_another_file_is_no_loss(issued: tuple[Path, Path]) -> None:
    path, export = issued
    rows = csv_rows(export)
    write_csv(export, rows[:-4])
    write_csv(export.with_name("rover002.csv"), rows[-4:])
    outcome = run_job(path)
    assert (outcome.exit_code, outcome.record["doubts"]) == (0, [])


def test_a_file_that_grows_is_no_loss(issued: tuple[Path, Path]) -> None:
    """Back to a short day and on: the rows that come are behind those that stay."""
    path, export = issued
    rows = csv_rows(export)
    write_csv(export, [*rows, rows[5] | {"Point": "later", "Observed": rows[-1]["Observed"]}])
    assert not run_job(path).record["doubts"]


def test_it_stays_in_doubt_where_the_issue_that_had_the_rows_has_no_files_any_more(issued: tuple[Path, Path]) -> None:
    path, export = issued
    rows = csv_rows(export)
    write_csv(export, rows[: closing(rows)])
    run_job(path)
    text = path.read_text(encoding="utf-8")
    for by_code in ("true", "false"):
        path.write_text(f"{text}\n[issue]\nkeep = 1\nby_code = {by_code}\n", encoding="utf-8")
        outcome = run_job(path)
        (doubt,) = outcome.record["doubts"]
        assert outcome.exit_code == 3 and doubt["what"].startswith(f"rover001.csv:{closing(rows) + 1}: the file ends")
    assert not (path.parent / "out" / "issues" / "001" / "simulated-001.gpkg").exists()
