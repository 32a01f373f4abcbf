"""The issues of a job: when each was made, what changed in it and why."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pipeline.clock import iso
from pipeline.intake.prepare import load
from pipeline.issue import record_types
from pipeline.issue.folder.issues_list import read_register
from pipeline.issue.folder.publish import issues
from pipeline.issue.record import read_record
from pipeline.issue.record_types import Record
from pipeline.problems import JobError, Problem
from pipeline.words import Change


@dataclass(frozen=True)
class Changes:
    """What became of the points since an earlier issue: counts, and the largest moves in metres.

    ``attributes`` counts points with another code or other attributes. A count is None where the record does not have
    it (one written before points were compared).
    """

    since: int
    counts: dict[str, int | None]
    attributes: int
    max_horizontal: float | None
    max_vertical: float | None


@dataclass(frozen=True)
class Entry:
    """One issue. ``made_at`` is None where the issues list has no line for it; ``changes`` is None in a first issue."""

    issue: int
    made_at: datetime | None
    verdict: str
    data_to: str
    points: int
    held_back: int
    checks_failed: int
    because: tuple[str, ...]
    changes: Changes | None

    def as_record(self) -> dict[str, Any]:
        """Return the entry in plain JSON values."""
        made_at = self.made_at and iso(self.made_at, "seconds")
        return asdict(self) | {"made_at": made_at, "because": list(self.because)}


def history(path: Path) -> tuple[Entry, ...]:
    """Return the issues of a job, oldest first.

    Args:
        path: the job file.

    Raises `JobError` where the job file cannot be loaded or the job has no issue, and RecordError where the record of
    an issue cannot be read.
    """
    folder = load(path).job.job.folder
    found = issues(folder)
    if not found:
        raise JobError([Problem(str(path), 0, f"the job has no issue yet in {folder}", "run the job first")])
    listed = {entry.issue: entry for entry in read_register(folder)}
    entries = []
    for number, file in found:
        record, line = read_record(file), listed.get(number)
        entries.append(_entry(number, record, line.made_at if line else None, line.because if line else ""))
    return tuple(entries)


def _entry(number: int, record: Record, made_at: datetime | None, listed: str) -> Entry:
    changes = record["changes"]
    because = changes["because"] if changes is not None else []
    return Entry(
        issue=number,
        made_at=made_at,
        verdict=record["verdict"],
        data_to=record["data_to"],
        points=record["rows"]["points"],
        held_back=record["rows"]["held_back"],
        checks_failed=sum(check["passed"] is False for check in record["checks"]),
        because=tuple(because or ([listed] if listed else [])),
        changes=None if changes is None else _changes(changes),
    )


def _changes(said: record_types.Changes) -> Changes:
    counted: Mapping[str, Any] = said
    return Changes(
        since=said["since"],
        attributes=said.get("attributes", 0),
        counts={str(change): counted.get(str(change)) for change in Change},
        max_horizontal=said.get("max_horizontal"),
        max_vertical=said.get("max_vertical"),
    )
