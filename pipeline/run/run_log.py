"""``runs.log``: each run of a job with time, outcome and messages; beside the issues, not part of them.

It is the one file of a job that is written although its disk may be full or its folder closed; then the caller
says so. A run that says what the one before said is counted there, so that a year of nights in which nothing changed is
two lines.
"""

import errno
import os
import re
import stat
from contextlib import suppress
from datetime import datetime
from io import FileIO
from pathlib import Path

from msgspec import Struct

from pipeline.clock import iso
from pipeline.files.atomic_write import atomic_write
from pipeline.files.shared_rights import share
from pipeline.problems import JobError, said_of
from pipeline.run.outcome import Outcome
from pipeline.visible import one_line

NAME = "runs.log"

#: The first line, by which the file is known as ours: no other is written to.
HEAD = b"# tiedown: what runs of this job said, the newest last; the oldest go when it grows beyond 1 MB\n"
#: What the system says where nothing may be written.
_CLOSED = frozenset({errno.EROFS, errno.EACCES, errno.EPERM})
#: The word of entries that are no run's.
NOTIFY = "notify"
#: Bytes of the file, and of what one run may say in it.
LARGEST, _LONGEST = 1_000_000, 100_000
_CUT = b"\n  (the rest is left out here)\n"

#: Bytes of the time that an entry begins with, and of the line that counts runs which said the same: being always as
#: long, it is written over in its place.
_TIME, _COUNT = len("2026-03-04T05:06:07Z"), 64
#: That line.
COUNTED = re.compile(rb"  the same until (\S+Z), ([0-9]+) runs *\n")


class Said(Struct, frozen=True):
    """What stands of a run: its exit code, what became of it and of which issue, by which version, and the rest.

    ``word`` is "issued", "unchanged" or the word of what ended it, ``issue`` what stands now, "no issue" for none.
    """

    code: int
    word: str
    issue: str
    version: str
    text: str

    @property
    def about(self) -> str:
        """Return what its first line says behind the time."""
        return f"exit code {self.code}  {self.word}  {self.issue}  {self.version}"


class Notified(Struct, frozen=True):
    """What stands of a call of the command that is told of changes: how it went, and what it said."""

    how: str
    text: str

    @property
    def about(self) -> str:
        """Return what its first line says behind the time."""
        return f"{NOTIFY}  {self.how}"


class NotKept(Exception):
    """What was said of a job cannot be written to its log; the message says which, and why."""


def keep(job: Path, outcome: object, said: Said | Notified, now: datetime, *, unprinted: bool) -> bool:
    """Append what was said of a job to its log; return whether it stands there.

    The log stands in the job's folder; where nothing may be written there, or whose it is cannot be read, in a log
    beside the job file. Where the folder is not known, not there yet, or another job's, what could not be printed
    (``unprinted``) goes beside the job file too, and what could be is not kept.

    Raises `NotKept`.
    """
    try:
        folder = folder_of(job, outcome)
    except (OSError, ValueError):
        folder = None
    entry = _entry(job, said, now)
    if folder is None:
        if not (job.is_file() and (unprinted or _is_unread(job))):
            return False
        _keep(beside(job), entry, now)
        return True
    try:
        _append(folder / NAME, entry, now)
    except OSError as error:
        if error.errno not in _CLOSED or not job.is_file():
            raise NotKept(f"{folder / NAME}: {said_of(error)}") from error
        _keep(beside(job), entry, now)
    return True


def _keep(path: Path, entry: bytes, now: datetime) -> None:
    """Append as `_append`. Raises `NotKept`."""
    try:
        _append(path, entry, now)
    except OSError as error:
        raise NotKept(f"{path}: {said_of(error)}") from error


def beside(job: Path) -> Path:
    """Return where the log of a job lies that has no folder of its own yet, or one that is closed to it."""
    return job.with_name(f"{job.name}.log")


def folder_of(job: Path, outcome: object) -> Path | None:
    """Return the folder with the issues of a job, None where there is none, or it is another job's.

    Of a job file that names none, or cannot be read, it is the one near it that was last run from it.
    """
    if isinstance(outcome, Outcome):
        return outcome.folder.parent.parent if outcome.folder is not None else None
    from pipeline.issue.folder.marked_folder import find_marked
    from pipeline.issue.folder.marker import read_marker  # the one who starts workers loads nothing of a run before
    from pipeline.job.named_folder import folder_named

    try:
        folder = folder_named(job)
    except (OSError, ValueError):
        folder = None
    if folder is None:
        return find_marked(job)
    with suppress(JobError):
        marker = read_marker(folder)
        if marker is not None and marker.path(folder) == Path(os.path.realpath(job)):
            return folder
    return None


def _is_unread(job: Path) -> bool:
    """Say whether a job names a folder of which cannot be read whose it is: nobody else tells of runs refused there."""
    from pipeline.issue.folder.folder_names import MARKER
    from pipeline.issue.folder.marker import read_marker
    from pipeline.job.named_folder import folder_named

    try:
        if (folder := folder_named(job)) is not None:
            os.lstat(folder / MARKER)
            read_marker(folder)
    except (JobError, PermissionError):
        return True
    except (OSError, ValueError):
        pass
    return False


def _entry(job: Path, said: Said | Notified, now: datetime) -> bytes:
    about = f"{one_line(said.about)}  {one_line(str(job))}"
    lines = [f"{iso(now, 'seconds')}  {about}", *(f"  {line}".rstrip() for line in said.text.split("\n") if said.text)]
    entry = "\n".join(lines).encode("utf-8", "backslashreplace") + b"\n"
    return entry if len(entry) <= _LONGEST else entry[:_LONGEST].rpartition(b"\n")[0] + _CUT


def _append(path: Path, entry: bytes, now: datetime) -> None:
    """Append to a log of ours, made where there is none; leave anything else of that name alone.

    Raises OSError, and `NotKept` where it is something else.
    """
    with _opened(path, os.O_RDWR | os.O_CREAT | os.O_APPEND) as file:
        about = os.fstat(file.fileno())
        file.seek(0)
        if not stat.S_ISREG(about.st_mode) or file.read(len(HEAD)) not in (b"", HEAD):
            raise NotKept(f"{path} is not a log of tiedown: move it elsewhere")
        file.seek(max(about.st_size - len(entry) - _COUNT, 0))
        tail = file.read()
        if (runs := _said_before(tail, entry)) > 1:
            _count_again(path, about, _counted(now, runs + 1))
            return
        if not about.st_size:
            share(path)
        entry = _counted(now, 2) if runs else entry
        broken = b"\n" if tail and not tail.endswith(b"\n") else b""  # by a full disk
        file.write(broken + entry if about.st_size else HEAD + entry)
        if about.st_size + len(entry) > LARGEST:
            file.seek(-LARGEST // 2, os.SEEK_END)
            _replace(path, file.read())


def _opened(path: Path, flags: int) -> FileIO:
    """Open a file to read and write it, with no buffer between. Raises OSError."""
    for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY"):  # no link, no waiting at a pipe, line feeds as they are
        flags |= getattr(os, name, 0)
    return FileIO(os.open(path, flags, 0o666), "ab+" if flags & os.O_APPEND else "rb+")


def _said_before(tail: bytes, entry: bytes) -> int:
    """Return how many runs at the end of a log said what an entry says; ``tail`` is that end, 0: the last did not."""
    runs = 1
    if (found := COUNTED.fullmatch(tail[-_COUNT:])) is not None:
        tail, runs = tail[:-_COUNT], int(found[2])
    before = tail[-len(entry) :]
    same = len(before) == len(entry) and before[_TIME:] == entry[_TIME:]
    return runs if same and before[_TIME - 1 : _TIME] == b"Z" else 0


def _counted(now: datetime, runs: int) -> bytes:
    """Return the line that counts runs, the newest of them now."""
    return f"  the same until {iso(now, 'seconds')}, {runs} runs".ljust(_COUNT - 1).encode() + b"\n"


def _count_again(path: Path, about: os.stat_result, line: bytes) -> None:
    """Write over the last line of a log, which counts runs, unless the log is another by now. Raises OSError."""
    with _opened(path, os.O_RDWR) as file:  # what is opened to append is written to at its end alone
        if os.path.samestat(os.fstat(file.fileno()), about):
            file.seek(about.st_size - len(line))
            file.write(line)


def _replace(path: Path, tail: bytes) -> None:
    """Let a log hold the whole entries in ``tail`` alone, in one step. Raises OSError."""
    first = re.search(rb"^\d{4}-", tail, re.MULTILINE)
    with atomic_write(path, path.with_name(f".staging-{os.getpid()}-{path.name}")) as fresh:
        fresh.write_bytes(HEAD + (tail[first.start() :] if first else b""))
