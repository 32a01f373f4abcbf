"""Who holds a job: a note beside the lock. The lock keeps runs of one machine apart, this tells of those of others.

Locks of a network folder may not reach from one machine to another. There a note that another machine wrote a short
while ago, and has not taken away, counts as a lock: its run may be under way.
"""

import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from pipeline.clock import iso
from pipeline.issue.folder.durable import put
from pipeline.issue.folder.names import scratch
from pipeline.problems import JobHeld

NAME = ".held-by"

#: Seconds for which another machine's note counts on a network folder; a run that died there is waited for as long.
LASTS = 3600.0

#: Kinds of network file systems, as Linux has them in its list of mounts.
_NETWORK = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ncpfs", "ceph", "glusterfs", "lustre", "davfs"}
_MOUNTS = Path("/proc/self/mounts")


@contextmanager
def noted(folder: Path) -> Iterator[None]:
    """Note that this process holds the job, for as long as it does.

    Raises `JobHeld` where a run on another machine may hold it, which the lock cannot say.
    """
    _refuse_other_machine(folder)
    said = {"host": socket.gethostname(), "pid": os.getpid(), "since": iso(datetime.now(UTC), "seconds")}
    with suppress(OSError):  # it only tells; what cannot be written here will be said of what matters
        put(folder, NAME, (json.dumps(said) + "\n").encode(), synced=False)
    try:
        yield
    finally:
        with suppress(OSError):
            (folder / NAME).unlink(missing_ok=True)


def who(folder: Path) -> str:
    """Say who holds a job, "" where that is not noted."""
    said = _read(folder)
    return f" by process {said['pid']} on {said['host']}, since {said['since']}" if said else ""


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
    said = _read(folder)
    if said and said["host"] != socket.gethostname() and on_network(folder) and _age(folder) < LASTS:
        raise JobHeld(
            f"this job may be being run{who(folder)}: {folder} is a network folder, whose locks need not reach here;"
            f" if that run is dead, delete {NAME} there, or wait an hour"
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
        said = json.loads((folder / NAME).read_text(encoding="utf-8"))
        return {key: str(said[key]) for key in ("host", "pid", "since")}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
