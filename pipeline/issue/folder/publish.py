"""The folder of a job: issues that are complete or absent, and what points at them.

An issue is written into a staging folder beside `issues`, synced, and renamed into place last. A kill at any moment
leaves at most a staging folder, an issues list without its last line, or a `current` that shows the previous issue; the
next run puts all three right. Everything here that writes needs `job_lock`.
"""

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from filelock import FileLock, Timeout

from pipeline.files.shared_rights import share, share_tree, take_rights
from pipeline.issue.folder import current, issues_list, lock_holder, manual_release, setting_aside, thinned_issues
from pipeline.issue.folder.folder_names import ISSUES, LOCK, STAGING, is_scratch, numbered, scratch, set_aside
from pipeline.issue.folder.intact import is_sound
from pipeline.issue.folder.issues_list import Entry, read_issues_list
from pipeline.issue.folder.issues_list_repair import rebuilt
from pipeline.issue.folder.ownership import Owner, claim
from pipeline.issue.folder.plain_names import lay_links
from pipeline.issue.folder.synced_write import make_folder, replace_synced, sync, sync_tree, write_synced
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError
from pipeline.problems import JobError, JobHeld, Problem


class Appeared(OSError):
    """An issue appeared, and what shows it (its line in the issues list, ``current``) could not be put right."""


@contextmanager
def job_lock(folder: Path, owner: Owner | None = None) -> Iterator[None]:
    """Hold the job in ``folder``, which is made where it is missing. The lock goes with the process, also by a kill.

    With an ``owner`` the folder is marked as that job's, and says who holds it.

    Raises JobHeld at once where another run holds it, and JobError where the folder cannot be written or is not the
    owner's.
    """
    try:
        make_folder(folder)
        lock = FileLock(folder / LOCK)
        lock.acquire(blocking=False)
        share(folder / LOCK)
    except Timeout:
        held = f"this job is already being run{lock_holder.find_holder(folder)}, in {folder}"
        raise JobHeld(f"{held}: wait until that run ends; one that hangs can be ended where it runs") from None
    except OSError as error:
        raise _not_to_be_written(folder, error) from error
    try:
        if owner is None:
            yield
            return
        try:
            claim(folder, owner)
        except OSError as error:
            raise _not_to_be_written(folder, error) from error
        with lock_holder.holding_noted(folder):
            yield
    finally:
        lock.release()


def _not_to_be_written(folder: Path, error: OSError) -> JobError:
    lock = folder / LOCK
    if isinstance(error, PermissionError) and lock.exists() and _may_write(folder):
        fix = "let whoever runs the job write to this file; or delete it while nobody does: a run makes a new one"
        return JobError([Problem(str(lock), 0, f"the job's lock cannot be opened: {error.strerror}", fix)])
    what = f"issues cannot be written there: {error.strerror or error}"
    return JobError([Problem(str(folder), 0, what, "name a folder under [job] folder that you may write to")])


def _may_write(folder: Path) -> bool:
    """Say whether this process may make and replace files in a folder."""
    return os.access(folder, os.W_OK | os.X_OK, effective_ids=os.access in os.supports_effective_ids)


def issues(folder: Path) -> list[tuple[int, Path]]:
    """Return number and record's path of every issue in ``folder``, oldest first; empty where there is none yet."""
    found = ((number, path / RECORD) for number, path in numbered(folder))
    return sorted((number, record) for number, record in found if record.is_file())


def recover(folder: Path, newest: Mapping[str, Any] | None = None) -> int | None:
    """Put right what a run or command that died left behind: staging folders, lines missing in the issues list, an
    old ``current``; go on with files that were being removed.

    What the list does not have was never finished by a run, or was put there by hand: only what is whole, with its own
    number in its record, is an issue. Nor is ``current`` switched to one that is not whole.

    Returns the number of the issue that ``current`` is to show, None where none is released. ``newest`` is the record
    of the newest issue, where it has been read already.

    Raises OSError where the folder cannot be written, RecordError where an issue's record cannot be read, and JobError
    where the issues list cannot be.
    """
    listed = issues_list.numbers_listed(folder)
    existing, whole = _existing(folder, listed)
    _sweep(folder)
    lines = rebuilt(folder, existing, listed)
    lines += setting_aside.missing_lines(folder, lines)
    removed = thinned_issues.finished_lines(folder, [record.parent for record in existing.values()])
    add_lines(folder, [*lines, *manual_release.missing_line(folder, lines), *removed])
    if setting_aside.cut_short(folder) is None:  # else a run tells of it first
        setting_aside.strike_out(folder)
    shown = manual_release.find_issue_to_show(folder, existing, newest)
    if shown is None:
        return None
    issue = existing[shown].parent
    if not current.shows(folder, issue):
        if shown not in whole and not is_sound(folder, shown):
            return shown
        replace_current(folder, issue)
    current.name_files(folder, issue)
    return shown


def _existing(folder: Path, listed: set[int]) -> tuple[dict[int, Path], set[int]]:
    """Return the record's path of every issue, by number, and which are known to be whole as they are not ``listed``.

    What has no line and is not whole is no issue.
    """
    there = issues(folder)
    whole = {number for number, _ in there if number not in listed and is_sound(folder, number)}
    return {number: record for number, record in there if number in listed | whole}, whole


def leave(folder: Path, number: int, kept: Path) -> None:
    """Let ``current`` no longer show an issue that is about to be moved away, but the one that it shows without it.

    A copy of the issue may have been worked in: it is moved beside ``kept``. Where no other is released and whole,
    nothing is shown. Raises OSError, and JobError where the issues list cannot be read.
    """
    shown = folder / current.NAME
    if not current.shows(folder, folder / ISSUES / f"{number:03d}"):
        return
    existing, _ = _existing(folder, issues_list.numbers_listed(folder))
    try:
        other = manual_release.find_issue_to_show(folder, existing.keys() - {number})
    except RecordError:  # an older one is damaged as well
        other = None
    issue = existing[other].parent if other is not None and is_sound(folder, other) else None
    switch = current.Switch(folder, issue, issue, scratch()) if issue is not None else None
    if not shown.is_symlink():
        os.rename(shown, kept.with_name(f"{kept.name}-{current.NAME}"))
    if switch is None or issue is None:
        current.remove_link(folder)
    else:
        switch.finish()
        current.name_files(folder, issue)
    sync(folder)


def replace_current(folder: Path, issue: Path) -> None:
    """Let ``current`` show an issue that is there, whatever has that place now. Raises OSError."""
    switch = current.Switch(folder, issue, issue, scratch())
    switch.make_room()
    switch.finish()
    _sweep(folder)
    current.name_files(folder, issue)


def add_lines(folder: Path, entries: list[Entry]) -> None:
    """Add lines to the issues list, in one step. Raises OSError."""
    if entries:
        replace_synced(folder, issues_list.NAME, issues_list.with_entries(folder, entries))


@dataclass
class Staged:
    """An issue in the making: write its files into ``path``, then `publish`. Leaving without that removes it."""

    folder: Path
    number: int
    path: Path
    _published: bool = field(default=False, init=False)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        if not self._published:
            _sweep(self.folder)

    def publish(self, verdict: str, because: str, made_at: datetime, *, stays: bool = False) -> Path:
        """Sync the staged files, let the issue appear under its number, and return its folder.

        ``made_at`` needs its offset from UTC; with ``verdict`` and ``because`` it goes to the issues list. ``current``
        ``stays`` where it is if `manual_release.find_issue_to_show` says so of the issues with this one.

        Raises FileNotFoundError where there is no issue.json, and OSError where the disk is full or the folder cannot
        be written. There is no new issue then, but with `Appeared`.
        """
        if not (self.path / RECORD).is_file():
            raise FileNotFoundError(f"an issue without {RECORD} is not published: {self.path}")
        entry = Entry(self.number, made_at, verdict, because)
        issue = self.folder / ISSUES / f"{self.number:03d}"
        lay_links(self.path, self.number)
        share_tree(self.path, issue.parent)
        sync_tree(self.path)
        fresh_list = self.folder / scratch(issues_list.NAME)
        write_synced(fresh_list, issues_list.with_entries(self.folder, [entry]))
        share(fresh_list)
        take_rights(fresh_list, self.folder / issues_list.NAME)
        switch = None if stays else current.Switch(self.folder, issue, self.path, scratch())
        if switch is not None:
            switch.make_room()
        try:
            os.rename(self.path, issue)
        except OSError:
            if switch is not None:
                switch.undo()
            raise
        self._published = True
        try:
            sync(issue.parent)
            if switch is not None:
                switch.finish()
            os.replace(fresh_list, self.folder / issues_list.NAME)
            sync(self.folder)
            _sweep(self.folder)
        except OSError as error:
            raise Appeared(error.errno, error.strerror or str(error)) from error
        return issue


def open_issue(folder: Path) -> Staged:
    """Put right what a dead run left, and return a staging folder for the next issue, on the same file system.

    Raises as `recover` does.
    """
    recover(folder)
    make_folder(folder / ISSUES)
    path = folder / scratch()
    path.mkdir()
    return Staged(folder, next_number(folder), path)


def next_number(folder: Path) -> int:
    """Return one more than the highest number that there ever was, also of issues that were set aside or are gone."""
    given = {number for number, _ in numbered(folder)} | {entry.issue for entry in read_issues_list(folder)}
    return 1 + max(given | set_aside(folder).keys(), default=0)


def dead_runs(folder: Path) -> list[Path]:
    """Return what a run that died has left beside the issues, or one that runs has there now, and nothing else."""
    return sorted(path for path in folder.glob(f"{STAGING}*") if is_scratch(path.name))


def _sweep(folder: Path) -> None:
    """Remove what was laid beside; what another program holds open (Windows) stays until the next sweep."""
    for path in dead_runs(folder):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with suppress(PermissionError):
                path.unlink()
