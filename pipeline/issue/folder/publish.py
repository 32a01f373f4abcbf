"""The folder of a job: issues that are complete or absent, and what points at them.

An issue is written into a staging folder beside `issues`, synced, and renamed into place last. A kill at any moment
leaves at most a staging folder, an issues list without its last line, or a `current` that shows the issue before; the
next run puts all three right. Everything here that writes needs `job_lock`.
"""

import os
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from filelock import FileLock, Timeout

from pipeline.issue.folder import current, issues_list
from pipeline.issue.folder.durable import sync, sync_tree, write_synced
from pipeline.issue.folder.issues_list import Entry
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import read_record
from pipeline.problems import JobError, JobHeld, Problem

ISSUES = "issues"
LOCK = ".lock"

_STAGING = ".staging-"
_NUMBER = re.compile(r"[0-9]{3,}")


@contextmanager
def job_lock(folder: Path) -> Iterator[None]:
    """Hold the job in ``folder``, which is made where it is missing. The lock goes with the process, also by a kill.

    Raises JobHeld at once where another run holds it, and JobError where the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / LOCK)
        lock.acquire(blocking=False)
    except Timeout:
        raise JobHeld(f"this job is already being run, in {folder}") from None
    except OSError as error:
        problem = Problem(str(folder), 0, f"issues cannot be written there: {error.strerror or error}", _TO_WRITE)
        raise JobError([problem]) from error
    try:
        yield
    finally:
        lock.release()


_TO_WRITE = "name a folder under [job] folder that you may write to"


def issues(folder: Path) -> list[tuple[int, Path]]:
    """Return number and record's path of every issue in ``folder``, oldest first; empty where there is none yet."""
    found = ((number, path / RECORD) for number, path in numbered(folder))
    return sorted((number, record) for number, record in found if record.is_file())


def newest(folder: Path) -> tuple[int, Path] | None:
    """Return number and record's path of the newest issue in ``folder``, or None where there is none yet."""
    return max(issues(folder), default=None)


def job_of(folder: Path) -> str | None:
    """Return the name of the job whose issues stand in ``folder``, as its newest GeoPackage has it; else None."""
    before = newest(folder)
    if before is None:
        return None
    number, record = before
    ending = f"-{number:03d}.gpkg"
    names = [found.name.removesuffix(ending) for found in record.parent.glob(f"*{ending}")]
    return names[0] if len(names) == 1 else None


def recover(folder: Path) -> None:
    """Put right what a run that died left behind: staging folders, lines missing in the register, an old ``current``.

    Raises OSError where the folder cannot be written and RecordError where an issue's record cannot be read.
    """
    _sweep(folder)
    existing = issues(folder)
    known = issues_list.registered(folder)
    missing = [_entry_of(number, record) for number, record in existing if number not in known]
    if missing:
        fresh = folder / f"{_scratch()}-{issues_list.NAME}"
        write_synced(fresh, issues_list.with_entries(folder, missing))
        os.replace(fresh, folder / issues_list.NAME)
    if existing:
        issue = existing[-1][1].parent
        if not current.shows(folder, issue):
            switch = current.Switch(folder, issue, issue, _scratch())
            switch.make_room()
            switch.finish()
            _sweep(folder)


@dataclass
class Staged:
    """An issue in the making: write its files into ``path``, then `publish`. Leaving without that removes it."""

    folder: Path
    number: int
    path: Path
    _published: bool = field(default=False, init=False)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if not self._published:
            _sweep(self.folder)

    def publish(self, verdict: str, because: str, made_at: datetime) -> Path:
        """Sync the staged files, let the issue appear under its number, and return its folder.

        ``made_at`` needs its offset from UTC; with ``verdict`` and ``because`` it goes to the issues list.

        Raises FileNotFoundError where there is no issue.json, and OSError where the disk is full or the folder cannot
        be written; unless that happens between the last renames, there is no new issue then.
        """
        if not (self.path / RECORD).is_file():
            raise FileNotFoundError(f"an issue without {RECORD} is not published: {self.path}")
        entry = Entry(self.number, made_at, verdict, because)
        issue = self.folder / ISSUES / f"{self.number:03d}"
        sync_tree(self.path)
        fresh_register = self.folder / f"{_scratch()}-{issues_list.NAME}"
        write_synced(fresh_register, issues_list.with_entries(self.folder, [entry]))
        switch = current.Switch(self.folder, issue, self.path, _scratch())
        switch.make_room()
        try:
            os.rename(self.path, issue)
        except OSError:
            switch.undo()
            raise
        self._published = True
        sync(issue.parent)
        switch.finish()
        os.replace(fresh_register, self.folder / issues_list.NAME)
        sync(self.folder)
        _sweep(self.folder)
        return issue


def open_issue(folder: Path) -> Staged:
    """Put right what a dead run left, and return a staging folder for the next issue, on the same file system.

    The next number is one more than the highest there is. Raises as `recover` does.
    """
    recover(folder)
    (folder / ISSUES).mkdir(exist_ok=True)
    number = 1 + max((number for number, _ in numbered(folder)), default=0)
    path = folder / _scratch()
    path.mkdir()
    return Staged(folder, number, path)


def numbered(folder: Path) -> list[tuple[int, Path]]:
    """Return number and folder of everything that stands where issues do, whole or not, in no order."""
    try:
        entries = list((folder / ISSUES).iterdir())
    except (FileNotFoundError, NotADirectoryError):
        return []
    return [(int(path.name), path) for path in entries if _NUMBER.fullmatch(path.name)]


def _entry_of(number: int, path: Path) -> Entry:
    """Return the line of an issue whose run died before it wrote one: made when its record was written."""
    record = read_record(path)
    reasons = record["changes"]["because"] if record["changes"] is not None else []
    return Entry(number, datetime.fromtimestamp(path.stat().st_mtime, UTC), record["verdict"], "; ".join(reasons))


def _scratch() -> str:
    return f"{_STAGING}{os.getpid()}-{secrets.token_hex(4)}"


def dead_runs(folder: Path) -> list[Path]:
    """Return what a run that died has left beside the issues, or one that runs has there now."""
    return sorted(folder.glob(f"{_STAGING}*"))


def _sweep(folder: Path) -> None:
    """Remove what was laid beside; what another program holds open (Windows) stays until the next sweep."""
    for path in dead_runs(folder):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with suppress(PermissionError):
                path.unlink()
