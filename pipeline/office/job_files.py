"""The job files among what was named, and below folders that were: what has a table ``[job]`` is one.

Issues that are left there without their job file are found as well: nobody would miss the job otherwise.

Hidden folders are not looked into, nor what runs keep in a job's folder, nor what links to folders lead to, which may
go round in circles.
"""

import os
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from msgspec import Struct

from pipeline import limits
from pipeline.files.regular_files import read_whole
from pipeline.issue.folder.folder_names import ISSUES, MARKER, numbered
from pipeline.issue.folder.marker import Marker, read_marker
from pipeline.issue.folder.ownership import find_keeper
from pipeline.issue.record import NAME as RECORD
from pipeline.job.named_folder import as_written, folder_in
from pipeline.problems import JobError

_ENDING = ".toml"
#: What the text of a job file has that is no TOML any more.
_JOB = re.compile(rb"^(?:\xff\xfe|\xfe\xff|\xef\xbb\xbf)?\s*\[\s*job\s*(?:\]|$)", re.MULTILINE)
_NO_JOB = "it has no table [job]"


class JobFile(Struct, frozen=True):
    """A job file, and what stands in it, right or not, or in ``why`` words why that cannot be read."""

    path: Path
    said: Mapping[str, Any]
    why: str = ""


class Orphan(Struct, frozen=True):
    """Issues without a job file: their folder, the job's name, and where its file was when it was last run, if known.

    ``there`` is whether a file is there still, which is no job file any more.
    """

    folder: Path
    name: str
    path: Path | None
    there: bool


class JobFilesFound(Struct, frozen=True):
    """What was found: the job files, issues without one, and what was passed over, each with why.

    ``missing`` is what was named, or lies below it, and could not be looked at: there may be jobs in it.
    """

    jobs: tuple[JobFile, ...]
    orphans: tuple[Orphan, ...]
    skipped: tuple[tuple[str, str], ...]
    missing: tuple[tuple[str, str], ...]


class _TooMany(Exception):
    """There is more below a folder than is looked at."""


def find_job_files(named: Iterable[Path]) -> JobFilesFound:
    """Return the job files among paths and below folders, each once, in the order of their paths."""
    look = _Look()
    jobs: dict[str, JobFile] = {}
    for path in named:
        try:
            for file, sure in look.files(path):
                real = os.path.realpath(file)
                if real not in jobs and (job := look.job(file, sure)) is not None:
                    jobs[real] = job
        except _TooMany:
            why = f"it contains more than the {limits.LOOKED_AT:,} that are checked: name folders that hold jobs"
            look.missing[str(path)] = why
    skipped = sorted((path, why) for path, why in look.skipped.items() if os.path.realpath(path) not in jobs)
    ordered = sorted(jobs.values(), key=lambda job: str(job.path))
    orphans = _orphans(look.folders, ordered, {os.path.realpath(path) for path, _ in skipped})
    return JobFilesFound(tuple(ordered), tuple(orphans), tuple(skipped), tuple(sorted(look.missing.items())))


def _orphans(folders: Iterable[Path], jobs: Iterable[JobFile], skipped: Collection[str]) -> Iterator[Orphan]:
    """Yield the folders with issues that no job file is of: none of ``jobs``, nor the one that last ran into it.

    That may lie where nobody looked, and may name another folder by now. Where it is among what was ``skipped`` it was
    looked at, and is no job file any more.
    """
    named = {os.path.normcase(at) for job in jobs if (at := folder_in(job.said, job.path)) is not None}
    for folder in folders:
        if os.path.normcase(os.path.realpath(folder)) in named:
            continue
        marker = None
        with suppress(JobError):  # told of its job, if there is one
            marker = read_marker(folder)
        path = _beside(folder, marker) if marker is not None else None
        there = path is not None and os.path.lexists(path)
        if not there or os.path.isdir(path or "") or os.path.realpath(path or "") in skipped:
            yield Orphan(folder, marker.job if marker is not None else folder.name, path, there)


def _beside(folder: Path, marker: Marker) -> Path:
    """Return where a job file was when it was last run, by the way that led to its folder where that is the same."""
    path = Path(os.path.normpath(folder / marker.job_file))
    return (
        path if os.path.realpath(path.parent) == os.path.realpath(marker.path(folder).parent) else marker.path(folder)
    )


class _Look:
    """One look below folders; counts what is looked at."""

    def __init__(self) -> None:
        self.skipped: dict[str, str] = {}
        self.missing: dict[str, str] = {}
        self.folders: list[Path] = []
        self._left = limits.LOOKED_AT

    def files(self, path: Path) -> Iterator[tuple[Path, bool]]:
        """Yield the files to be looked at, each with whether it was named itself and so is surely meant as a job."""
        if os.path.isdir(path):
            yield from ((file, False) for file in self._below(path))
        elif os.path.lexists(path):
            yield path, True
        else:
            self.missing[str(path)] = "there is no such file or folder"

    def job(self, path: Path, sure: bool) -> JobFile | None:
        """Return a file as a job file, None where it is none, which is noted."""
        try:
            data = read_whole(path, limits.JOB_FILE)
        except OSError as error:
            return JobFile(path, {}, f"the job file cannot be read: {error.strerror or error}")
        try:
            said = as_written(data)
            why = "" if isinstance(said.get("job"), dict) else _NO_JOB
        except ValueError as error:
            what = "it is not UTF-8 text" if isinstance(error, UnicodeDecodeError) else _first_line(error)
            said, why = {}, f"the job file cannot be read: {what}"
            sure = sure or _JOB.search(data.replace(b"\0", b"")) is not None  # UTF-16, too
        if why and not sure:
            self.skipped[str(path)] = _NO_JOB
            return None
        return JobFile(path, said, f"this is not a job file: {why}" if why == _NO_JOB else why)

    def _below(self, top: Path) -> Iterator[Path]:
        """Yield the TOML files below a folder. Raises `_TooMany`."""
        waiting = [top]
        while waiting:
            folder = waiting.pop()
            try:
                with os.scandir(folder) as there:
                    entries = sorted(there, key=lambda each: each.name)
            except OSError as error:
                self.missing[str(folder)] = f"the folder cannot be looked into: {error.strerror or error}"
                continue
            self._left -= len(entries)
            if self._left < 0:
                raise _TooMany
            names = {each.name for each in entries}
            if ISSUES in names and _has_issues(folder):
                self.folders.append(folder)
            is_kept = find_keeper(folder) if names & {MARKER, ISSUES} else None
            for each in entries:
                path = folder / each.name
                if each.name.startswith(".") or (is_kept is not None and is_kept(path)):
                    continue
                if each.is_dir(follow_symlinks=False):
                    waiting.append(path)
                elif each.is_symlink() and os.path.isdir(path):
                    self.skipped[str(path)] = "it is a link to a folder, which may lead anywhere: name that folder"
                elif each.name.lower().endswith(_ENDING):
                    yield path


def _has_issues(folder: Path) -> bool:
    """Say whether a folder has issues; one that may not be looked into does, as far as anybody can know."""
    try:
        return any(os.path.lexists(issue / RECORD) for _, issue in numbered(folder))
    except OSError:
        return True


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or ["it is not TOML"])[0]
