"""Opens regular files only: refuses pipes, sockets and devices, which could block or never end."""

import os
import stat
from pathlib import Path

from pipeline.limits import NOTE

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)

#: What to do about what is no file.
COPY = "name a file on disk; copy the data to one if it comes from elsewhere"

#: A pipe that nobody writes to is not waited for.
_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


class NoFile(OSError):
    """What a path names is no file (``kind`` says what), or one that is too large; the text says it in words."""

    def __init__(self, what: str, kind: str | None = None) -> None:
        super().__init__(what)
        self.strerror, self.kind = what, kind


def other_kind(path: str | Path) -> str | None:
    """Return what a path names where that is no file: "a folder", "a pipe". Raises OSError where it is not there."""
    mode = os.stat(path).st_mode
    if stat.S_ISREG(mode):
        return None
    return next((words for is_one, words in _KINDS if is_one(mode)), "of no known kind")


def check_regular(path: str | Path) -> None:
    """Raise `NoFile` where a path names anything but a file, and OSError where it is not there."""
    kind = other_kind(path)
    if kind is not None:
        raise NoFile(f"it is {kind}, not a file", kind)


def read_whole(path: Path, most: int) -> bytes:
    """Return a file's content. Raises `NoFile` where it is none or has more than ``most`` bytes, and OSError."""
    check_regular(path)
    with open(os.open(path, os.O_RDONLY | _AT_ONCE), "rb") as file:
        size = os.fstat(file.fileno()).st_size
        data = file.read(most + 1) if size <= most else b""
    if max(size, len(data)) > most:
        raise NoFile(f"it has more than {most >> 20:,} MB")
    return data


def read_note(path: Path) -> str:
    """Return the text of a small file that the program keeps. Raises as `read_whole`, ValueError where it is none."""
    return read_whole(path, NOTE).decode("utf-8")
