"""``runs.log``: what the runs of a job said, beside its issues and no part of them, for what nobody saw printed.

It is the one file of a job that is written although its disk may be full or its folder closed; then it is let go.
"""

import os
import re
import stat
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from pipeline.clock import iso
from pipeline.problems import JobError
from pipeline.run.outcome import Outcome

NAME = "runs.log"

#: The first line, by which the file is known as ours: no other is written to.
_HEAD = b"# tiedown: what runs of this job said, the newest last; the oldest go when it grows beyond 1 MB\n"
#: Bytes of the file, and of what one run may say in it.
_LARGEST, _LONGEST = 1_000_000, 100_000
_CUT = b"\n  (the rest is left out here)\n"


def keep(job: Path, outcome: object, code: int, text: str, now: datetime, *, unprinted: bool) -> bool:
    """Append what was said of a job to its log, as far as the disk lets it; return whether it stands there.

    The log stands in the job's folder. Where that is not known, not there yet, or another job's, what could not be
    printed (``unprinted``) goes into a log beside the job file, and what could be is not kept.
    """
    with suppress(OSError, ValueError):
        path = _place(job, outcome, unprinted)
        return path is not None and _append(path, _entry(job, code, text, now))
    return False


def _place(job: Path, outcome: object, unprinted: bool) -> Path | None:
    folder = _folder(job, outcome)
    if folder is not None:
        return folder / NAME
    return job.with_name(f"{job.name}.log") if unprinted and job.is_file() else None


def _folder(job: Path, outcome: object) -> Path | None:
    """Return the folder with the issues of a job, None where there is none, or it is another job's."""
    if isinstance(outcome, Outcome):
        return outcome.folder.parent.parent if outcome.folder is not None else None
    from pipeline.issue.folder.marker import read_marker  # the one who starts workers loads nothing of a run before
    from pipeline.job.named_folder import folder_named

    with suppress(JobError):
        folder = folder_named(job)
        marker = read_marker(folder) if folder is not None else None
        if folder is not None and marker is not None and marker.path(folder) == Path(os.path.realpath(job)):
            return folder
    return None


def _entry(job: Path, code: int, text: str, now: datetime) -> bytes:
    lines = [f"{iso(now, 'seconds')}  exit code {code}  {job}", *(f"  {line}".rstrip() for line in text.split("\n"))]
    entry = "\n".join(lines).encode("utf-8", "backslashreplace") + b"\n"
    return entry if len(entry) <= _LONGEST else entry[:_LONGEST].rpartition(b"\n")[0] + _CUT


def _append(path: Path, entry: bytes) -> bool:
    """Append to a log of ours, made where there is none, and return True; leave anything else of that name alone.

    Raises OSError.
    """
    flags = os.O_RDWR | os.O_CREAT | os.O_APPEND
    for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY"):  # no link, no waiting at a pipe, line feeds as they are
        flags |= getattr(os, name, 0)
    with os.fdopen(os.open(path, flags, 0o666), "ab+", buffering=0) as file:
        about = os.fstat(file.fileno())
        file.seek(0)
        if not stat.S_ISREG(about.st_mode) or file.read(len(_HEAD)) not in (b"", _HEAD):
            return False
        file.write(entry if about.st_size else _HEAD + entry)
        if about.st_size + len(entry) > _LARGEST:
            file.seek(-_LARGEST // 2, os.SEEK_END)
            _replace(path, file.read())
        return True


def _replace(path: Path, tail: bytes) -> None:
    """Let a log hold the whole entries in ``tail`` alone, in one step. Raises OSError."""
    first = re.search(rb"^\d{4}-", tail, re.MULTILINE)
    fresh = path.with_name(f".staging-{os.getpid()}-{path.name}")
    try:
        fresh.write_bytes(_HEAD + (tail[first.start() :] if first else b""))
        os.replace(fresh, path)
    except OSError:
        fresh.unlink(missing_ok=True)
        raise
