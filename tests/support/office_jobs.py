"""Jobs of an office with invented issues: whole folders as runs leave them, made without a run."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from record_made import check, failing, record, tie

from pipeline.issue.folder.confirmation import Confirmed, confirm, signs_of
from pipeline.issue.folder.ownership import Owner
from pipeline.issue.folder.publish import job_lock, open_issue
from pipeline.issue.record import write_record
from pipeline.run.run_log import HEAD

#: When the page is made, and when issues were unless said otherwise: a month before.
NOW = datetime(2026, 4, 2, 6, 0, tzinfo=UTC)
MADE = NOW - timedelta(days=30)
#: What of a record makes an issue that waits.
PENDING = {
    "release": {
        "rule": "safe",
        "pending": True,
        "current": 1,
        "at_stake": [{"session": "one", "failing": ["CM2-30"], "held": 3, "withdrawn": 0, "moved": 0}],
    }
}
FAILING = {"verdict": "failed", "checks": [tie("one", "CM1", 20), failing("one", "CM2", 30), check("one", "CM2", 450)]}


def job_file(folder: Path, name: str = "made-up", file: str = "job.toml") -> Path:
    """Lay a job file down and return its path; its issues go to ``out`` beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / file
    path.write_text(f'[job]\nname = "{name}"\nfolder = "out"\n', encoding="utf-8")
    return path


def add_issue(path: Path, made_at: datetime = MADE, because: str = "first issue", **other: Any) -> Path:
    """Publish one more issue of a job and return its folder; ``other`` goes into its record."""
    folder = path.parent / "out"
    with held(path), open_issue(folder) as staged:
        files = []
        for ending in ("gpkg", "html"):
            file = staged.path / f"made-up-{staged.number:03d}.{ending}"
            file.write_bytes(f"{ending} of {staged.number}".encode())
            files.append({"name": file.name, "sha256": hashlib.sha256(file.read_bytes()).hexdigest()})
        changes = None if staged.number == 1 else {"since": staged.number - 1, "because": [because], "altered": []}
        made: Any = record(issue=staged.number, files=files, changes=changes, **other)
        write_record(staged.path, made)
        pending = bool(other.get("release", {}).get("pending"))
        place = staged.publish(made["verdict"], because, made_at, stays=pending)
        confirm(folder, staged.number, Confirmed("", signs_of(place)))
    return place


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Hold a job as a run does."""
    with job_lock(path.parent / "out", Owner("made-up", path)):
        yield


def log(path: Path, *entries: str) -> None:
    """Write the log of a job with issues."""
    (path.parent / "out" / "runs.log").write_bytes(HEAD + "".join(f"{entry}\n" for entry in entries).encode())
