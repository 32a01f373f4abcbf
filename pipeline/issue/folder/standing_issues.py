"""The issues that stand in a job's folder: each with its record, or in words why it cannot be read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.issue.folder.folder_names import ISSUES, numbered, set_aside
from pipeline.issue.folder.issues_list import NAME as ISSUES_LIST
from pipeline.issue.folder.issues_list import SET_ASIDE, entries_of_making, read_issues_list
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import LaterRecordError, RecordError, is_sealed, parse_record, read_any_version
from pipeline.problems import JobError, Problem
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.issue.record_types import SealedRecord

#: Missing issues that are told one by one. Ours.
_TOLD = 3
#: The path of an issue's record, and the record.
Standing = tuple[Path, "SealedRecord"]


def remedy(number: int) -> str:
    """Return what to do about an issue that is damaged."""
    return (
        "run tiedown verify on the folder; restore the issue from a backup, or continue without it by tiedown aside"
        f" JOB {number}, which keeps it in set-aside/ beside the issues"
    )


def newest_standing(folder: Path) -> Standing | None:
    """Return the newest issue, None where there is none yet.

    Raises `JobError` where it is damaged, is gone although the issues list has it, or the list cannot be read: a run
    that took the one before for the newest would say so of what somebody has drawn from since.
    """
    numbers = expected(folder)
    return read_standing(folder, max(numbers)) if numbers else None


def standing_issue(folder: Path, number: int) -> Standing:
    """Return one issue. Raises `JobError` where it is damaged, is gone, was set aside, or never was."""
    name = f"issue {number:03d}"
    if number in aside(folder):
        what, fix = f"{name} was set aside", "name another issue; tiedown history lists them"
        raise JobError([Problem(str(folder), 0, what, fix)])
    if number not in expected(folder):
        raise JobError([Problem(str(folder), 0, f"there is no {name} in this folder", "run tiedown history")])
    return read_standing(folder, number)


def standing(folder: Path) -> Iterator[Standing | Problem]:
    """Yield every issue, oldest first, in the place of one that is damaged what is wrong and what to do.

    Raises `JobError` where the issues list cannot be read.
    """
    for number in sorted(expected(folder)):
        try:
            yield read_standing(folder, number)
        except JobError as error:
            yield from error.problems


def aside(folder: Path) -> set[int]:
    """Return the numbers of the issues that were set aside, and that nobody put back. Raises as above."""
    last = entries_of_making(read_issues_list(folder))
    listed = {number for number, entry in last.items() if entry.verdict == SET_ASIDE}
    return (listed | set_aside(folder).keys()) - {number for number, _ in numbered(folder)}


def expected(folder: Path) -> set[int]:
    """Return the numbers of all issues that stand, or should."""
    present = {number for number, _ in numbered(folder)}
    return present | {entry.issue for entry in read_issues_list(folder)} - aside(folder)


def missing_notes(folder: Path) -> tuple[str, ...]:
    """Return in words which issues are gone that should stand, and what to do. Raises as `aside`."""
    there = {number for number, place in numbered(folder) if (place / RECORD).is_file()}
    gone = sorted(expected(folder) - there)
    told = [f"issue {number:03d} is missing, but {ISSUES_LIST} lists it: {remedy(number)}" for number in gone[:_TOLD]]
    more = len(gone) - _TOLD
    return (*told, *([f"{counted(more, 'more issue is', 'more issues are')} missing"] if more > 0 else []))


def read_standing(folder: Path, number: int) -> Standing:
    """Return the issue that stands under a number. Raises `JobError` where it is damaged or is not there."""
    place = folder / ISSUES / f"{number:03d}"
    path, name = place / RECORD, f"issue {number:03d}"
    try:
        said = read_any_version(path)
        record = parse_record(said, path)
    except LaterRecordError as error:
        raise JobError([Problem(str(path), 0, f"{name} cannot be read: {_said(path, error)}", error.fix)]) from error
    except (RecordError, OSError) as error:
        why, fix = f"{name} cannot be read: {_said(path, error)}", remedy(number)
        if isinstance(error, PermissionError):
            fix = "check the permissions of its folder and its files"  # nothing says that it is damaged
        elif not place.exists():
            why = f"{name} is missing, but {ISSUES_LIST} lists it"
        elif not path.exists():
            why = f"{name} is damaged: it has no {RECORD}"
        raise JobError([Problem(str(path), 0, why, fix)]) from error
    what: str | None = None
    if record["issue"] != number:
        what = f"its {RECORD} belongs to issue {record['issue']:03d}"
    elif "sum" in said and not is_sealed(said, path.read_bytes()):
        what = f"its {RECORD} differs from what was written"
    if what is not None:
        raise JobError([Problem(str(path), 0, f"{name} is damaged: {what}", remedy(number))])
    return path, record


def _said(path: Path, error: Exception) -> str:
    if isinstance(error, OSError):
        return error.strerror or str(error)
    return str(error).removeprefix(f"{path} ")
