"""What was last told of a job to the command that it, or whoever runs it, names: a note beside its issues.

Where a job has no folder yet, or nobody can tell which, the note stands beside the job file.
"""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from pipeline.files.regular_files import read_note
from pipeline.files.shared_rights import share
from pipeline.issue.folder.synced_write import replace_synced

NAME = ".notified"
#: Held while a command is called, so that no two runs tell the same; it goes with the process that holds it.
LOCK = ".notified.lock"

#: Another run, which begins, sweeps away what is laid beside: then it is laid once more.
_TRIES = 5


def note_path(job: Path) -> Path:
    """Return the path of the note that stands beside a job file."""
    return job.with_name(f"{job.name}{NAME}")


def read_last_notification(path: Path) -> dict[str, Any] | None:
    """Return what a note says, None where there is none, or none that can be read."""
    try:
        said = json.loads(read_note(path))
    except (OSError, ValueError, RecursionError):
        return None
    return said if isinstance(said, dict) else None


def write_last_notification(path: Path, said: Mapping[str, Any]) -> None:
    """Let a note say what was told, in one step. Raises OSError."""
    for left in reversed(range(_TRIES)):
        try:
            replace_synced(path.parent, path.name, (json.dumps(said) + "\n").encode(), synced=False)
            return
        except FileNotFoundError:
            if not left:
                raise


@contextmanager
def notification_lock(folder: Path, seconds: float) -> Iterator[None]:
    """Let no other run tell of a job meanwhile; wait for one that does. A disk that refuses the lock is no reason."""
    lock = FileLock(folder / LOCK)
    with suppress(OSError, Timeout):
        lock.acquire(timeout=seconds)
        share(folder / LOCK)
    try:
        yield
    finally:
        lock.release()
