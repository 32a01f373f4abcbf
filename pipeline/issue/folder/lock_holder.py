"""Who holds a job: a note beside the lock. The lock keeps runs of one machine apart, this tells of those of others.

Locks of a network folder may not reach from one machine to another. There a note that another machine wrote a short
while ago, and has not taken away, counts as a lock: its run may be under way.
"""

import json
import os
import socket
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from msgspec import Struct

from pipeline.clock import iso
from pipeline.files.regular_files import read_note
from pipeline.issue.folder.folder_names import LOCK, scratch
from pipeline.issue.folder.synced_write import replace_synced
from pipeline.problems import JobHeld

NAME = ".held-by"

#: Seconds for which another machine's note counts on a network folder; a run that died there is waited for as long.
LASTS = 3600.0

#: Kinds of network file systems, as Linux has them in its list of mounts.
_NETWORK = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ncpfs", "ceph", "glusterfs", "lustre", "davfs"}
_MOUNTS = Path("/proc/self/mounts")
#: The locks of this machine's processes, as Linux lists them.
_LOCKS = Path("/proc/locks")

_reach = False


def locks_reach() -> None:
    """Let the lock alone say from now on, in this process, who holds a job: locks were tried from machine to machine.

    A note of another machine is then that of a run that died: who lives holds the lock.
    """
    global _reach
    _reach = True


@contextmanager
def holding_noted(folder: Path) -> Iterator[None]:
    """Note that this process holds the job, for as long as it does.

    Raises `JobHeld` where a run on another machine may hold it, which the lock cannot say.
    """
    _refuse_other_machine(folder)
    said = {"host": socket.gethostname(), "pid": os.getpid(), "since": iso(datetime.now(UTC), "seconds")}
    with suppress(OSError):  # it only tells; what cannot be written here will be said of what matters
        replace_synced(folder, NAME, (json.dumps(said) + "\n").encode(), synced=False)
    try:
        yield
    finally:
        with suppress(OSError):
            (folder / NAME).unlink(missing_ok=True)


def find_holder(folder: Path) -> str:
    """Say who holds a job, "" where that is not noted."""
    said = _read(folder)
    return f" {_told(said)}" if said else ""


def _told(said: dict[str, str]) -> str:
    return f"by process {said['pid']} on {said['host']}, since {said['since']}"


class Holder(Struct, frozen=True):
    """Who noted that he holds a job, in words, on which machine, and for how many seconds it has been noted.

    ``under_way`` is whether that run still is, None where only its own machine can tell.
    """

    told: str
    host: str
    seconds: float
    under_way: bool | None


def holding(folder: Path) -> Holder | None:
    """Return who holds a job; None where nobody does.

    Nothing is written and no lock is touched: a run that begins at that moment would be refused for it.
    """
    said = _read(folder)
    if not said:
        return None
    under_way = _is_under_way(folder, said)
    now = _read(folder)
    if not under_way and now != said:  # it ended, or the next began, while it was looked at
        said, under_way = now, bool(now)
    return Holder(_told(said), said["host"], _seconds(folder), under_way) if said else None


def _is_under_way(folder: Path, said: dict[str, str]) -> bool | None:
    """Say whether the process that noted that it holds a job is there.

    Another machine's is taken to be for a while, as by the next run; then nobody here knows.
    """
    try:
        if said["host"] == socket.gethostname() and os.name == "posix":
            return _exists(int(said["pid"])) and _locked(folder / LOCK)
    except (ValueError, OverflowError):
        return False
    return True if _seconds(folder) < LASTS else None


def _seconds(folder: Path) -> float:
    """Return for how long a job has been noted as held, by this machine's clock."""
    try:
        return time.time() - (folder / NAME).stat().st_mtime
    except OSError:
        return 0.0


def _exists(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except PermissionError:  # somebody else's
        return True
    except ProcessLookupError:
        return False
    return True


def _locked(lock: Path) -> bool:
    """Say whether anybody holds a lock on a file, by the system's list of locks; where that has no word of it, yes."""
    try:
        lines = _LOCKS.read_text(encoding="utf-8", errors="replace").splitlines()
        inode = str(lock.stat().st_ino)
    except OSError:
        return True
    places = (field for line in lines for field in line.split() if field.count(":") == 2)
    return any(place.rpartition(":")[2] == inode for place in places) or not (lines or _locks_are_listed())


def _locks_are_listed() -> bool:
    """Say whether a lock that is held shows in the system's list: in some containers that is always empty."""
    import fcntl

    try:
        with tempfile.TemporaryFile() as file:
            fcntl.flock(file, fcntl.LOCK_EX)
            return bool(_LOCKS.read_text(encoding="utf-8", errors="replace"))
    except OSError:
        return False


def on_network(folder: Path) -> bool:
    """Say whether a folder lies on a network file system, as far as the system says so (Linux)."""
    try:
        lines = _MOUNTS.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return False
    place = Path(os.path.realpath(folder))
    found = ("", "")
    for line in lines:
        _, mount, kind, *_ = (*line.split(" "), "", "")
        mount = mount.replace("\\040", " ")
        if place.is_relative_to(mount) and len(mount) >= len(found[0]):
            found = (mount, kind)
    return found[1] in _NETWORK or found[1].startswith("fuse.ssh")


def _refuse_other_machine(folder: Path) -> None:
    if _reach:
        return
    said = _read(folder)
    if said and said["host"] != socket.gethostname() and on_network(folder) and _age(folder) < LASTS:
        raise JobHeld(
            f"another run may be using this job{find_holder(folder)}: {folder} is a network folder, where locks may not"
            f" be seen across machines; if that run has ended, delete {NAME} there, or wait an hour"
        )


def _age(folder: Path) -> float:
    """Return how long ago the note was written, in seconds, both by the clock of the folder's own machine."""
    probe = folder / scratch("clock")
    try:
        probe.touch()
        return probe.stat().st_mtime - (folder / NAME).stat().st_mtime
    except OSError:
        return 0.0
    finally:
        with suppress(OSError):
            probe.unlink(missing_ok=True)


def _read(folder: Path) -> dict[str, str]:
    try:
        said = json.loads(read_note(folder / NAME))
        return {key: str(said[key]) for key in ("host", "pid", "since")}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
