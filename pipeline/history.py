"""The issues of a job: when each was made, what changed in it and why."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any

from pipeline.clock import iso
from pipeline.intake.prepare import load, own_folder
from pipeline.issue import record_types
from pipeline.issue.change_summary import rows_changed
from pipeline.issue.folder import current, issues_list
from pipeline.issue.folder.confirmation import confirmed
from pipeline.issue.folder.folder_names import ISSUES
from pipeline.issue.folder.intact import damage, files_gone
from pipeline.issue.folder.issues_list import RELEASED, entries_of_making, read_issues_list
from pipeline.issue.folder.manual_release import is_pending
from pipeline.issue.folder.setting_aside import lines_of_aside
from pipeline.issue.folder.standing_issues import expected, standing
from pipeline.issue.folder.thinned_issues import NAME as REMOVED
from pipeline.issue.folder.thinned_issues import Thinned, read_thinned
from pipeline.issue.record_types import Record
from pipeline.issue.release import waits_for
from pipeline.problems import JobError, Problem, refusals_told, remedy, said_of
from pipeline.replace import replace
from pipeline.words import Change

#: Stands for a verdict where nobody knows what became of an issue.
GONE = "gone"


@dataclass(frozen=True)
class Changes:
    """What became of the points since an earlier issue: counts, and the largest moves in metres.

    ``attributes`` counts points with another code or other attributes. A count is None where the record does not have
    it (one written before points were compared). ``rows`` are those of the layer ``changes``, None where the record
    does not say: a point that moved and was recoded has one, and is counted as both.
    """

    since: int
    counts: dict[str, int | None]
    attributes: int
    max_horizontal: float | None
    max_vertical: float | None
    rows: int | None

    def as_record(self) -> dict[str, Any]:
        """Return what its record says, in plain JSON values."""
        return {name: value for name, value in asdict(self).items() if name != "rows"}


@dataclass(frozen=True)
class Entry:
    """One issue. ``made_at`` is None where the issues list has no line for it; ``changes`` is None in a first issue.

    ``current`` says whether `current` shows it, ``waits`` why it was not released when it was made, ``pending`` whether
    it waits still, ``released`` when and why it was released by hand, and ``removed`` when files of it were removed by
    `issue.keep`, and which.
    """

    issue: int
    made_at: datetime | None
    verdict: str
    data_to: str
    points: int
    held_back: int
    checks_failed: int
    because: tuple[str, ...]
    changes: Changes | None
    current: bool
    waits: tuple[str, ...]
    pending: bool
    released: tuple[tuple[datetime, str], ...]
    removed: Thinned | None

    def as_record(self) -> dict[str, Any]:
        """Return the entry in plain JSON values."""
        made_at = self.made_at and iso(self.made_at, "seconds")
        by_hand = [{"at": iso(at, "seconds"), "because": why} for at, why in self.released]
        plain: dict[str, Any] = {
            "made_at": made_at,
            "because": list(self.because),
            "changes": self.changes and self.changes.as_record(),
            "waits": list(self.waits),
            "released": by_hand,
        }
        plain["removed"] = None if self.removed is None else _removed(self.removed)
        return asdict(self) | plain


@dataclass(frozen=True)
class Absent:
    """A number under which no issue stands: it was set aside, when and why, or nobody knows what became of it.

    ``at`` is None where that is not known.
    """

    issue: int
    at: datetime | None
    verdict: str
    because: tuple[str, ...]

    def as_record(self) -> dict[str, Any]:
        """Return it in plain JSON values, with the keys of an issue; those that it has no value for are null."""
        plain: dict[str, Any] = {each.name: None for each in fields(Entry)}
        plain |= {"issue": self.issue, "verdict": self.verdict, "because": list(self.because)}
        return plain | {"made_at": None, "set_aside_at": self.at and iso(self.at, "seconds"), "current": False}


class Incomplete(JobError):
    """Some issues are damaged: ``problems`` says which and how, ``entries`` are the others, and what is absent."""

    def __init__(self, problems: list[Problem], entries: tuple[Entry, ...], without: tuple[Absent, ...] = ()) -> None:
        self.entries, self.absent = entries, without
        super().__init__(problems)


def _absent(folder: Path) -> Iterator[Absent]:
    aside, missed = lines_of_aside(folder), expected(folder)
    for number in range(1, max((*aside, *missed), default=0) + 1):
        if number in aside:
            line = aside[number]
            yield Absent(number, line.made_at, line.verdict, (line.reason,))
        elif number not in missed:
            yield Absent(number, None, GONE, (f"neither {ISSUES} nor {issues_list.NAME} has it",))


def history(path: Path) -> tuple[Entry, ...]:
    """Return the issues of a job that stand, oldest first. Args and errors as those of `every_number`."""
    return tuple(one for one in every_number(path) if isinstance(one, Entry))


@refusals_told()
def every_number(path: Path) -> tuple[Entry | Absent, ...]:
    """Return what became of every number of a job, in their order: the issue that stands, or that none does.

    Args:
        path: the job file.

    Raises `JobError` where the job file cannot be loaded, its folder is another's or the job has no issue, and
    `Incomplete` where issues are damaged.
    """
    folder = own_folder(load(path))
    lines = read_issues_list(folder)
    listed, releases = entries_of_making(lines), [line for line in lines if line.verdict == RELEASED]
    entries, problems, newest = [], list[Problem](), None
    for found in standing(folder):
        if isinstance(found, Problem):
            problems.append(found)
            continue
        file, record = found
        newest = found
        try:
            removed = read_thinned(file.parent)
            problems += files_gone(file.parent, record)  # whether an older one was altered is for `verify` to say
        except PermissionError as error:
            removed, what = None, f"issue {record['issue']:03d}: which files issue.keep removed cannot be read"
            problems.append(Problem(str(file.parent / REMOVED), 0, f"{what}: {said_of(error)}", remedy(error)))
        mine = tuple((line.made_at, line.because) for line in releases if line.issue == record["issue"])
        shown_now = current.shows(folder, file.parent)
        entries.append(_entry(record, listed.get(record["issue"]), shown_now, mine, removed))
    shown = max((entry.issue for entry in entries if entry.current), default=0)
    entries = [replace(entry, pending=bool(entry.waits) and entry.issue > shown) for entry in entries]
    if newest is not None and not problems:
        file, record = newest
        problems = damage(file.parent, record, confirmed(folder, record["issue"]).signs)
    without = tuple(_absent(folder))
    if not problems and not entries and without:
        what = f"no issue of the job stands in {folder}: all were set aside"
        problems = [Problem(str(path), 0, what, "run the job: it makes the next issue")]
    if problems:
        raise Incomplete(problems, tuple(entries), without)
    if not entries:
        raise JobError([Problem(str(path), 0, f"the job has no issue yet in {folder}", "run the job first")])
    return in_order(entries, without)


def in_order(entries: Iterable[Entry], without: Iterable[Absent]) -> tuple[Entry | Absent, ...]:
    """Return issues and numbers without one by their numbers."""
    return tuple(sorted((*entries, *without), key=lambda one: one.issue))


def _entry(
    record: Record,
    line: issues_list.Entry | None,
    shown: bool,
    released: tuple[tuple[datetime, str], ...],
    removed: Thinned | None,
) -> Entry:
    changes, listed = record["changes"], line.reason if line is not None else ""
    because = changes["because"] if changes is not None else []
    return Entry(
        issue=record["issue"],
        made_at=line.made_at if line is not None else None,
        verdict=record["verdict"],
        data_to=record["data_to"],
        points=record["rows"]["points"],
        held_back=record["rows"]["held_back"],
        checks_failed=sum(check["passed"] is False for check in record["checks"]),
        because=tuple(because or ([listed] if listed else [])),
        changes=None if changes is None else _changes(changes, rows_changed(record)),
        current=shown,
        waits=tuple(waits_for(record)) if is_pending(record) else (),
        pending=False,
        released=released,
        removed=removed,
    )


def _removed(what: Thinned) -> dict[str, Any]:
    return {"at": iso(what.at, "seconds"), "keep": what.keep, "files": list(what.files)}


def _changes(said: record_types.Changes, rows: int | None) -> Changes:
    counted: Mapping[str, Any] = said
    return Changes(
        since=said["since"],
        attributes=said.get("attributes", 0),
        counts={str(change): counted.get(str(change)) for change in Change},
        max_horizontal=said.get("max_horizontal"),
        max_vertical=said.get("max_vertical"),
        rows=rows,
    )
