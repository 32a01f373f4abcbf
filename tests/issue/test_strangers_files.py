"""What somebody lays into an issue's folder gets no name under `current` that drawings could link to."""

import os
from pathlib import Path

from first_issue import first_issue
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job


def test_a_copy_beside_the_issue_is_not_linked(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=6, noise=False)).write(tmp_path)
    issue = first_issue(path)
    stray = issue / "simulated-001.bak"
    stray.write_bytes(b"somebody's")
    os.unlink(issue / "simulated.gpkg")
    assert not run_job(path).issued
    # what is the issue's own is linked again
    assert (issue / "simulated.gpkg").is_symlink() and not os.path.lexists(issue / "simulated.bak")
    replace_in(tmp_path / "rover001.csv", {"ROAD-EDGE": "FENCE"})
    assert run_job(path).issued
    assert not [one for one in (tmp_path / "out" / "current").iterdir() if not one.exists() or one.suffix == ".bak"]
