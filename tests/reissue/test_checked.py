"""`tiedown check` tells the doubts that only an issue before shows, as the run that follows it would."""

from collections.abc import Callable
from pathlib import Path

import pytest
from running import csv_rows, write_csv
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.check import check_job


def _cut(path: Path) -> None:
    """Take the last check, and what lies behind it, off the export."""
    export = path.with_name("rover001.csv")
    rows = csv_rows(export)
    write_csv(export, rows[: max(at for at, row in enumerate(rows) if row["Code"] == "CHK")])


def _without_failing(path: Path) -> None:
    """Leave out the row of the check that failed."""
    export = path.with_name("rover001.csv")
    rows = csv_rows(export)
    write_csv(export, [row for row in rows if row["Point"] != "S01-C2"])


def _nothing(path: Path) -> None:
    pass


@pytest.mark.parametrize(
    ("knocked", "change", "kinds"),
    [(False, _nothing, []), (False, _cut, ["cut-off"]), (True, _without_failing, ["unanswered-check"])],
)
def test_what_an_issue_before_puts_in_doubt_is_told_before_the_run(
    knocked: bool, change: Callable[[Path], None], kinds: list[str], tmp_path: Path
) -> None:
    job: Simulation = simulate(Plan(sessions=1, points=20, ties=1, checks=2, noise=False))
    for session in job.job["session"]:
        session["checks"] = []
    if knocked:
        job.knock_base(0, 0.5, east=0.3)
    path = job.write(tmp_path)
    run_job(path)
    change(path)
    told = check_job(path).doubts
    record = run_job(path).record
    assert [one["kind"] for one in record["doubts"]] == kinds
    assert len(told) == len(kinds)
    for doubt, text in zip(record["doubts"], told, strict=True):
        assert doubt["what"].partition(":1: ")[2] in text or doubt["what"] in text
    assert check_job(path).doubts == told  # and after it, as long as it stands
