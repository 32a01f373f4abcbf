"""A new issue takes nothing over from an earlier one that somebody altered."""

from pathlib import Path

import pytest
from altered import change, held_open, touch_header
from issued import current_issue
from running import run_written
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.issue.geopackage.recount import has_issued_bytes, has_issued_content

ALTERED = "UPDATE points SET easting = easting + 5 WHERE name = 'S01-00007'"


@pytest.mark.parametrize("how", ["altered", "altered in a log", "touched"])
def test_an_edit_in_the_issue_before_does_not_reach_the_next(tmp_path: Path, how: str) -> None:
    """A point of a session that nothing changed, moved by 5 m in the file: the next issue has it in its place."""
    job = simulate(Plan(sessions=2, points=30, noise=False))
    issue = run_written(job.write(tmp_path))
    files = issue.record["files"]
    assert has_issued_bytes(issue.package, files)
    job.mistype("CM2", "height", 0.006)
    path = job.write(tmp_path)
    if how == "altered":
        change(issue.package, ALTERED)
    elif how == "touched":
        touch_header(issue.package)
    if how == "altered in a log":
        with held_open(issue.package, ALTERED):
            assert not has_issued_bytes(issue.package, files) and not has_issued_content(issue.package, files)
            run_written(path, code=3)
    else:
        assert not has_issued_bytes(issue.package, files)
        assert has_issued_content(issue.package, files) == (how == "touched")
        run_written(path, code=0 if how == "touched" else 3)
    told = any("issue 001 is damaged" in note for note in current_issue(tmp_path / "out").record["notes"])
    assert told == (how != "touched")
    assert run_job(path).exit_code == (0 if how == "touched" else 3)  # as long as that issue stands
    row = current_issue(tmp_path / "out").points.one(name="S01-00007")
    assert row["easting"] == pytest.approx(job.truth.of("S01-00007")[0], rel=0, abs=1e-3)
