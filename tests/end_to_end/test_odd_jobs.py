"""Odd files as whole jobs: proven on their check marks, whatever clock, unit, layout or kind of file they come in.

The checks stand on marks of which the register has the simulated truth: they agree to what the files round to.
"""

from pathlib import Path
from shutil import copyfile

import pytest
from every import every
from odd_files import FOLDER, job_text

from pipeline import run_job


@pytest.mark.parametrize(
    "name", ["dates_and_times.xlsx", "gps_week.csv", "no_header.xyz", "geocentric_poles.csv", "feet.csv", "grid.csv"]
)
def test_an_odd_file_gives_a_proven_issue(tmp_path: Path, name: str) -> None:
    raw = tmp_path / "raw"
    raw.mkdir()
    for each in (name, "register.csv"):  # alone: others of that folder have the same columns
        copyfile(FOLDER / each, raw / each)
    (tmp_path / "job.toml").write_text(job_text(name, files="raw/"), encoding="utf-8")
    outcome = run_job(tmp_path / "job.toml", dry_run=True)
    rows = outcome.record["rows"]
    assert (outcome.exit_code, outcome.record["verdict"], outcome.record["notes"]) == (0, "proven", [])
    assert (rows["read"], rows["points"], rows["on_marks"], rows["held_back"]) == (8, 5, 3, 0)
    for check in every(outcome.record["checks"]):
        assert max(abs(check[axis]) for axis in ("d_east", "d_north", "d_height")) < 1e-3
