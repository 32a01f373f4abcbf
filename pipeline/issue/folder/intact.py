"""Checks that the files of an issue are as issued: by file signatures, and by checksums where these differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.digest import digest
from pipeline.issue.folder.confirmation import Signs, as_noted, signs_of
from pipeline.issue.folder.standing_issues import read_standing, remedy
from pipeline.issue.folder.thinned_issues import read_thinned
from pipeline.problems import JobError, Problem

if TYPE_CHECKING:
    from pipeline.issue.record_types import FileIssued, Record

#: What is said of a file that is not there.
GONE = "the file is gone"


def damage(issue: Path, record: Record, noted: Mapping[str, Signs]) -> list[Problem]:
    """Return which files of an issue are gone or are not what was issued; its record agrees with its own sum.

    Those that `issue.keep` removed are not missed.

    Args:
        issue: its folder.
        record: its record.
        noted: the signs that its files had when they were last looked at; files that have them are not read again.
    """
    return [_problem(issue / name, record, what) for name, what in damaged(issue, record, noted)]


def damaged(issue: Path, record: Record, noted: Mapping[str, Signs]) -> list[tuple[str, str]]:
    """Return the names of the files that `damage` tells, "" for the folder itself, and what is wrong with each."""
    try:
        signs = signs_of(issue)
    except OSError as error:
        return [("", f"the folder cannot be read: {error.strerror or error}")]
    removed = read_thinned(issue)
    there = [entry for entry in record["files"] if removed is None or entry["name"] not in removed.files]
    return [what for entry in there for what in _of_file(issue, entry, record, signs, noted)]


def files_gone(issue: Path, record: Record) -> list[Problem]:
    """Return which files of an issue are not there, but for those that `issue.keep` removed."""
    gone = [entry["name"] for entry in record["files"] if not (issue / entry["name"]).is_file()]
    removed = read_thinned(issue) if gone else None
    missed = [name for name in gone if removed is None or name not in removed.files]
    return [_problem(issue / name, record, GONE) for name in missed]


def refuse_damaged(issue: Path, record: Record, noted: Mapping[str, Signs]) -> None:
    """Raise `JobError` for every file of an issue that is gone or is not what was issued."""
    if found := damage(issue, record, noted):
        raise JobError(found)


def is_sound(folder: Path, number: int) -> bool:
    """Say whether an issue in a job's folder is whole: its record is its own, as written, and so are all files."""
    try:
        path, record = read_standing(folder, number)
    except JobError:
        return False
    return not damage(path.parent, record, {})


def _problem(path: Path, record: Record, what: str) -> Problem:
    number = record["issue"]
    return Problem(str(path), 0, f"issue {number:03d} is damaged: {what}", remedy(number))


def _of_file(
    issue: Path, entry: FileIssued, record: Record, signs: Mapping[str, Signs], noted: Mapping[str, Signs]
) -> Iterator[tuple[str, str]]:
    name = entry["name"]
    if name not in signs:
        yield name, GONE
        return
    if as_noted(name, signs, noted):
        return
    try:
        same = is_as_issued(issue / name, entry)
    except OSError as error:
        yield name, f"the file cannot be read: {error.strerror or error}"
        return
    if not same:
        yield name, "the file is not what was issued"


def is_as_issued(path: Path, entry: FileIssued) -> bool:
    """Say whether a file, whatever it is called, holds what was issued, by what the record says of it. Raises OSError.

    What a viewer touches of a GeoPackage does not count.
    """
    if entry.get("layers") is None:
        return digest(path) == entry["sha256"]
    from pipeline.issue.geopackage.recount import has_issued_bytes, has_issued_content  # takes time to load

    called: list[FileIssued] = [{**entry, "name": path.name}]
    return has_issued_bytes(path, called) or has_issued_content(path, called)
