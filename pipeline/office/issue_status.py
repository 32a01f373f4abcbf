"""How the issues of one job stand, from its folder alone: records, the issues list and notes; nothing is written.

No lock is taken: whatever a run replaces it replaces in one step, and what looks damaged while it does is looked at
once more.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from msgspec import Struct

from pipeline.digest import digest
from pipeline.files.regular_files import read_whole
from pipeline.issue.folder import current
from pipeline.issue.folder.confirmation import as_noted, confirmed, signs_of
from pipeline.issue.folder.folder_names import ISSUES, SET_ASIDE, is_number, is_scratch
from pipeline.issue.folder.issues_list import RELEASED, REMOVED, Entry, read_issues_list
from pipeline.issue.folder.issues_list import SET_ASIDE as ASIDE
from pipeline.issue.folder.manual_release import find_issue_to_show, is_pending
from pipeline.issue.folder.stand_ins import StandIn, stand_ins
from pipeline.issue.folder.standing_issues import expected, standing_issue
from pipeline.issue.folder.thinned_issues import read_thinned
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError, is_sealed, read_any_version
from pipeline.issue.schema_number import SCHEMA
from pipeline.limits import NOTE
from pipeline.problems import JobError

if TYPE_CHECKING:
    from pipeline.issue.record_types import FileIssued, Record

#: What a line of the issues list may say that is none of an issue's making.
_NO_ISSUE = (RELEASED, ASIDE, REMOVED)


class Issued(Struct, frozen=True):
    """The issues of a job: the newest, the one that `current` shows (both None: none), and what is wrong with any.

    ``due`` is the number of the issue that `current` is to show, None for none, or where that cannot be told. ``lines``
    are those of the issues list; ``made`` is when the newest was made; ``waits`` says whether that waits to
    be released; ``remarks`` are what deserves a look at leisure.
    """

    newest: Record | None
    shown: Record | None
    due: int | None
    lines: tuple[Entry, ...]
    made: datetime | None
    damaged: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def waits(self) -> bool:
        """Say whether the newest issue waits to be released."""
        if self.newest is None or not is_pending(self.newest):
            return False
        return self.shown is None or self.shown["issue"] < self.newest["issue"]


def issued(folder: Path) -> Issued:
    """Return how the issues in a job's folder stand. Raises `JobError` where the issues list cannot be read."""
    found = _look(folder)
    return found if not found.damaged else _look(folder)


def size_of(folder: Path) -> int:
    """Return how many bytes what runs keep in a job's folder has: issues, those set aside, a copy that is current."""
    total = 0
    with suppress(OSError):
        for each in os.scandir(folder):
            if each.name in (ISSUES, SET_ASIDE, current.NAME) or is_scratch(each.name):
                total += _size(each)
    return total


def _size(entry: os.DirEntry[str]) -> int:
    """Return the bytes of a file, or of all files below a folder; links have none."""
    with suppress(OSError):  # gone meanwhile, or closed
        if entry.is_dir(follow_symlinks=False):
            with os.scandir(entry.path) as there:
                return sum(map(_size, there))
        if entry.is_file(follow_symlinks=False):
            return entry.stat(follow_symlinks=False).st_size
    return 0


def _look(folder: Path) -> Issued:
    lines, numbers = tuple(read_issues_list(folder)), sorted(expected(folder))
    damaged: list[str] = []
    remarks: list[str] = []
    records: dict[int, Record] = {}
    shown = _shown(folder)
    for number in numbers:
        place = folder / ISSUES / f"{number:03d}"
        if number == numbers[-1] or number == shown:
            try:
                records[number] = _record(folder, number)
            except JobError as error:
                damaged += [problem.what for problem in error.problems]
                continue
            for what, sure in _files(place, records[number], folder):
                (damaged if sure else remarks).append(f"issue {number:03d}: {what}")
            if number == shown:
                for what, sure in _stands_for(place, records[number], folder):
                    (damaged if sure else remarks).append(what)
        elif (gone := _gone(place)) is not None:
            damaged.append(f"issue {number:03d} {gone}")
    newest = records.get(numbers[-1]) if numbers else None
    made = _made(folder, lines, numbers[-1]) if numbers else None
    due = _due(folder, numbers, newest)
    return Issued(newest, records.get(shown or 0), due, lines, made, tuple(damaged), tuple(remarks))


def _due(folder: Path, numbers: list[int], newest: Record | None) -> int | None:
    """Return the issue that `current` is to show; None where a record that decides it cannot be read."""
    with suppress(OSError, RecordError, JobError):
        return find_issue_to_show(folder, numbers, newest)
    return None


def _record(folder: Path, number: int) -> Record:
    """Return an issue's record. One that is as this version wrote it is so in form too. Raises `JobError`."""
    path = folder / ISSUES / f"{number:03d}" / RECORD
    with suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
        written = read_whole(path, NOTE)
        said: dict[str, Any] = json.loads(written)
        if said["schema"] == SCHEMA and said["issue"] == number and is_sealed(said, written):
            return cast("Record", said)
    return standing_issue(folder, number)[1]


def _files(place: Path, record: Record, folder: Path) -> Iterator[tuple[str, bool]]:
    """Yield which files of an issue are gone or altered, each with whether that is sure.

    A viewer may touch a GeoPackage and leave its content: `verify` and the next run say.
    """
    try:
        signs = signs_of(place)
    except OSError as error:
        yield f"its folder cannot be looked into: {error.strerror or error}", True
        return
    noted = confirmed(folder, record["issue"]).signs
    try:
        removed = read_thinned(place)
    except PermissionError as error:
        yield f"which of its files issue.keep removed cannot be read: {error.strerror}", True
        return
    for entry in record["files"]:
        name = entry["name"]
        if removed is not None and name in removed.files:
            continue
        if name not in signs:
            yield f"the file {name} is missing", True
        elif not as_noted(name, signs, noted) and not _same(place / name, entry["sha256"]):
            package = name.endswith(".gpkg")
            told = "was touched since; tiedown verify shows whether its content is what was issued"
            yield f"the file {name} {told if package else 'is not what was issued'}", not package


def _stands_for(place: Path, record: Record, folder: Path) -> Iterator[tuple[str, bool]]:
    """Yield what of `current`, under the names that drawings link to, is not what was issued, as `_files` does."""
    for one in stand_ins(folder, place, record, confirmed(folder, record["issue"]).signs):
        told = f"{current.NAME}/{one.path.name}"
        if (to := one.leads_to) is not None:
            yield f"{told} leads to {to}; the next run corrects it", True
        elif one.is_gone:
            yield f"there is no {told}; the next run creates it", True
        elif not _same(one.path, one.entry["sha256"]):
            yield _other(told, one)


def _other(told: str, one: StandIn) -> tuple[str, bool]:
    """Say what a file is that has not the bytes which it should be a copy of, and whether that is sure."""
    with suppress(OSError):
        if one.is_part():
            return f"{told} is only part of {one.entry['name']}; the next run writes it again", True
    touched = _only_touched(one.path, one.entry)
    why = "was touched by a viewer" if touched else f"is not the file {one.entry['name']}, which it should be a copy of"
    return f"{told} {why}", not touched


def _only_touched(path: Path, entry: FileIssued) -> bool:
    """Say whether opening it may have made a GeoPackage what it is; of an early issue nobody knows without reading."""
    if "layers" not in entry:
        return False
    from pipeline.issue.geopackage.package_database import only_touched  # seldom needed

    return only_touched(path, entry) if "database" in entry else True


def _same(path: Path, sha256: str) -> bool:
    try:
        return digest(path) == sha256
    except OSError:
        return False


def _gone(place: Path) -> str | None:
    """Say what is missing of an older issue at first sight, None where nothing is."""
    try:
        names = set(os.listdir(place))
    except OSError as error:
        return "is gone" if isinstance(error, FileNotFoundError) else f"cannot be looked into: {error.strerror}"
    if RECORD not in names:
        return f"is damaged: it has no {RECORD}"
    if any(name.endswith(f"-{place.name}.gpkg") for name in names):
        return None
    try:
        return None if read_thinned(place) is not None else "is damaged: its GeoPackage is missing"
    except PermissionError as error:
        return f"does not say which of its files issue.keep removed: {error.strerror}"


def _shown(folder: Path) -> int | None:
    """Return the number of the issue that `current` shows, a link to it or a copy of it; None where it shows none."""
    path = folder / current.NAME
    try:
        if path.is_symlink():
            name = path.readlink().name
            return int(name) if is_number(name) and path.exists() else None
        return int(read_any_version(path / RECORD)["issue"])
    except (OSError, RecordError, KeyError, TypeError, ValueError):
        return None


def _made(folder: Path, lines: tuple[Entry, ...], number: int) -> datetime | None:
    """Return when an issue was made: as the issues list has it, else when its record was written."""
    listed = [line.made_at for line in lines if line.issue == number and line.verdict not in _NO_ISSUE]
    if listed:
        return listed[-1]
    with suppress(OSError):
        return datetime.fromtimestamp((folder / ISSUES / f"{number:03d}" / RECORD).stat().st_mtime, UTC)
    return None
