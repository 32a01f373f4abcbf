"""Issues with nothing but text in them, and what must hold of a job's folder whatever happened to it."""

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path

from record_made import record as made_up

from pipeline.issue.folder.issues_list import read_issues_list
from pipeline.issue.folder.publish import issues, job_lock, open_issue
from pipeline.issue.record import sum_of

MADE_AT = datetime(2026, 3, 3, 8, 0, 5, tzinfo=UTC)


def record(number: int, content: str = "points") -> str:
    """An invented record, with its own sum and that of the issue's file."""
    changes = (
        None if number == 1 else {"since": number - 1, "because": ["CM2 revised", "two files more"], "altered": []}
    )
    files = [{"name": f"j-{number:03d}.gpkg", "sha256": hashlib.sha256(content.encode()).hexdigest()}]
    said = made_up(job="j", issue=number, changes=changes, files=files)
    return json.dumps(said | {"sum": sum_of(said)})


def issue(folder: Path, content: str = "points") -> Path:
    """Publish one more issue with a file of that content."""
    with job_lock(folder), open_issue(folder) as staged:
        (staged.path / f"j-{staged.number:03d}.gpkg").write_text(content)
        (staged.path / "issue.json").write_text(record(staged.number, content))
        return staged.publish("proven", f"because of {staged.number}", MADE_AT)


def whole(folder: Path) -> int:
    """Assert that every issue is whole, `current` is the newest and nothing is left over; return its number."""
    found = issues(folder)
    for number, path in found:
        # where links are not to be had, the copy that is `current` has the name without the number, the issue has not
        files = {file.name for file in path.parent.iterdir()}
        assert files - {"j.gpkg"} == {f"j-{number:03d}.gpkg", "issue.json"}
        assert (path.parent / f"j-{number:03d}.gpkg").read_text() == "points"
        assert json.loads(path.read_text())["issue"] == number
    assert json.loads((folder / "current" / "issue.json").read_text())["issue"] == found[-1][0]
    assert (folder / "current" / "j.gpkg").read_text() == "points"
    assert [entry.issue for entry in read_issues_list(folder)] == [number for number, _ in found]
    assert {path.name for path in folder.iterdir()} == {".lock", "issues", "current", "register.csv"}
    return found[-1][0]
