"""The sum by which a file is known again, and the signs that nobody wrote to it while it was read."""

import errno
import hashlib
import os
import stat
from pathlib import Path
from typing import IO, NamedTuple, Protocol

#: What takes the place of a file just before it is opened is not waited for either.
_AT_ONCE = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


#: The folder of the program's own modules.
PACKAGE = os.path.dirname(os.path.realpath(__file__))


class Sum(Protocol):
    """A sum that is being made, such as `hashlib.sha256()`."""

    def update(self, data: bytes, /) -> None:
        """Add bytes."""

    def hexdigest(self) -> str:
        """Return the sum so far."""


class Signature(NamedTuple):
    """What a file system says of a file. The time of its last change of any kind can be put back by no program."""

    inode: int
    size: int
    modified: int
    changed: int


def signature(path: Path) -> Signature:
    """Return the signs of the file as it is now. Raises OSError."""
    at = path.stat()
    return Signature(at.st_ino, at.st_size, at.st_mtime_ns, at.st_ctime_ns)


def changed(path: Path, since: Signature | None) -> bool:
    """Tell whether somebody wrote to a file, or put another in its place, since its signs were taken; None: unknown."""
    try:
        return since is not None and signature(path) != since
    except OSError:
        return True


def digest(path: Path) -> str:
    """Return the SHA-256 of the file's bytes in hexadecimal.

    Raises OSError, also where it is no file: a pipe would be waited for, and a device may never end.
    """
    if not stat.S_ISREG(os.stat(path).st_mode):
        raise OSError(errno.ENODEV, "it is no file", str(path))
    with open(os.open(path, _AT_ONCE), "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def modules() -> list[str]:
    """Return the paths of the program's own modules, ascending."""
    files = (os.path.join(folder, name) for folder, _, names in os.walk(PACKAGE) for name in names)
    return sorted(file for file in files if file.endswith(".py"))


class Summed:
    """A file that is read from its beginning, every byte that was read being added to a sum."""

    def __init__(self, file: IO[bytes], seen: Sum | None) -> None:
        self._file, self._seen = file, seen

    def read(self, size: int = -1) -> bytes:
        """Return the next bytes, none at the end."""
        data = self._file.read(size)
        if self._seen is not None:
            self._seen.update(data)
        return data
