"""A job whose newest issue was made before records had all of today's keys: it stands, is verified, and compared."""

import json
from pathlib import Path

import pytest
from first_issue import first_issue
from issued import current_issue
from sealed_by_hand import sum_by_hand
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.history import history
from pipeline.verify import verify

#: What records of schema 1 had not from the beginning.
LATER = ("diagnoses", "doubts", "wholly_held_back", "register", "reach")


@pytest.mark.parametrize("lacking", [(), LATER], ids=["last", "first"])
def test_an_issue_of_an_earlier_schema_stands_and_is_compared_with(lacking: tuple[str, ...], tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=40, noise=False))
    path = job.write(tmp_path)
    file = first_issue(path) / "issue.json"
    said = {key: value for key, value in json.loads(file.read_text()).items() if key not in lacking} | {"schema": 1}
    file.write_text(json.dumps(said | {"sum": sum_by_hand(said)}))

    assert verify(tmp_path / "out").intact
    assert check_job(path).warnings == ()
    standing = run_job(path)
    assert (standing.issued, standing.exit_code, standing.record["issue"]) == (False, 0, 1)

    job.mistype("CM1", "height", 0.006)
    job.write(tmp_path)
    assert run_job(path).issued
    changes = current_issue(tmp_path / "out").record["changes"]
    assert changes["since"] == 1 and changes["moved"] > 0 and changes["added"] == changes["withdrawn"] == 0
    first, second = history(path)
    assert first.changes is None and second.changes is not None and second.changes.counts["moved"] == changes["moved"]
    assert verify(tmp_path / "out").intact
