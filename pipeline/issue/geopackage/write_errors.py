"""What is raised where a layer cannot be written: the disk's refusal, or a limit of the format."""

import os
from contextlib import suppress
from pathlib import Path

from pipeline.issue.folder.synced_write import has_room
from pipeline.problems import said_of


class NotWritten(OSError):
    """A file could not be written: a full disk, mostly. What there is of it is worth nothing.

    ``number`` is the system's of the error, where that is known.
    """

    def __init__(self, what: str, number: int | None = None) -> None:
        super().__init__(what)
        self.errno = number


class TooLarge(Exception):
    """A layer goes beyond a limit of GeoPackages, which no disk can help; ``fix`` is what to do."""

    def __init__(self, what: str, fix: str) -> None:
        self.fix = fix
        super().__init__(what)


#: Limits of SQLite, by what GDAL and SQLite say of them, and what to do (sqlite.org/limits.html).
_LIMITS = (
    (("columns reached", "too many columns"), "leave columns out of the export: a GeoPackage holds no more"),
    (("too big",), "shorten the longest text in the export: a GeoPackage holds none of 1 GB"),
)


def refusal(path: Path, layer: str, error: Exception) -> NotWritten | TooLarge:
    """Return what to raise where a layer could not be written: a limit of the format is not the disk's refusal.

    What there is of the file is worth nothing, and it is tried whether the disk lets it grow.
    """
    what = f"{path.name}, layer {layer}: {error}"
    for said, fix in _LIMITS:
        if any(words in what for words in said):
            return TooLarge(what, fix)
    try:
        with suppress(FileNotFoundError):
            os.lstat(f"{path}-journal")  # a name that SQLite must be able to look for
        has_room(path, 0)
    except FileNotFoundError:  # its folder is not there
        pass
    except OSError as refused:  # whatever the library takes a file for that the disk cut short
        return NotWritten(f"{path.name}: {said_of(refused)}", refused.errno)
    return NotWritten(what)
