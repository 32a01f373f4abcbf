"""The names that stay: each file of an issue also under its name without the number, for drawings that link to it.

Under ``current`` that is one path in every issue. In an issue's folder such a name is a link to the file beside it. It
is a symbolic one: SQLite lays the log of a database beside the name that the link leads to, so that all who have it
open share the log; with two names of one file (hard links) they would not. Where links are not to be had it is a copy.
"""

import errno
import os
import re
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from pipeline.files.plain_copies import copy_file
from pipeline.issue.folder.folder_names import is_number, scratch
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError, read_any_version

# What systems say where links are not to be had: not supported, not permitted, or (Windows) a right not held.
_NO_LINKS = {errno.EPERM, errno.EOPNOTSUPP, errno.ENOSYS, errno.ENOTSUP, errno.EINVAL}
_PRIVILEGE_NOT_HELD = 1314
_NUMBERED = re.compile(r"(.+)-([0-9]{3,})(\.[a-z0-9]+(?:-metadata\.json)?)")


def plain_name(name: str, number: int) -> str | None:
    """Return the name without the number of a file of an issue; None for what is not named after the issue."""
    parts = _NUMBERED.fullmatch(name)
    return f"{parts[1]}{parts[3]}" if parts is not None and parts[2] == f"{number:03d}" else None


def is_plain_link(path: Path, number: int | None = None) -> bool:
    """Say whether a path is a link to the file beside it that has the same name with a number: in an issue its own.

    With the ``number`` of an issue it is that one's in any folder, and the file is there.
    """
    parts = _NUMBERED.fullmatch(os.readlink(path)) if path.is_symlink() else None
    if parts is None or f"{parts[1]}{parts[3]}" != path.name:
        return False
    if number is not None and (int(parts[2]) != number or not path.exists()):
        return False
    return not is_number(path.parent.name) or parts[2] == path.parent.name


def missing(place: Path, number: int) -> list[tuple[str, str]]:
    """Return the files of an issue in a folder that have no name without the number, each with that name.

    They are those that its record lists, so that what somebody laid beside them gets none; of an early version's, which
    lists none, all that are named after the issue.
    """
    there = {path.name for path in place.iterdir()}
    named = [(name, plain_name(name, number)) for name in sorted(there)]
    # the name without the number of `a-001-001.gpkg` looks like a file of issue 001 itself
    plain = {name for _, name in named}
    found = [(name, short) for name, short in named if short is not None and short not in there and name not in plain]
    issued = _listed(place) if found else set()
    return [(name, short) for name, short in found if name in issued or not issued]


def _listed(place: Path) -> set[str]:
    """Return the files that the record of an issue lists, nothing where it lists none or cannot be read."""
    try:
        return {str(entry["name"]) for entry in read_any_version(place / RECORD).get("files", [])}
    except (RecordError, OSError, TypeError, KeyError, AttributeError):
        return set()


def lay_links(place: Path, number: int) -> None:
    """Link what `missing` returns; nothing where links are not to be had. Raises OSError."""
    for name, short in missing(place, number):
        if not make_link(Path(name), place / short):
            return


def lay_all(folder: Path, place: Path, number: int) -> None:
    """Link what `missing` returns, or copy it where links are not to be had, each in one step.

    What is copied is laid beside in the job's ``folder`` first. A place that may not be written to is left as it is.
    Raises OSError.
    """
    with suppress(PermissionError):
        for name, short in missing(place, number):
            if not make_link(Path(name), place / short):
                fresh = folder / scratch("copy")
                copy_file(place / name, fresh)
                os.replace(fresh, place / short)


def lay_again(folder: Path, place: Path, names: Iterable[tuple[str, str]]) -> None:
    """Put each of the second names, whatever has it, in the place of the file that it is to stand for, in one step.

    Raises OSError.
    """
    for name, short in names:
        fresh = folder / scratch("name")
        if not make_link(Path(name), fresh):
            copy_file(place / name, fresh)
        os.replace(fresh, place / short)


def make_link(target: Path, link: Path, *, to_folder: bool = False) -> bool:
    """Make a symbolic link and return True; False where links are not to be had. Raises OSError."""
    try:
        os.symlink(target, link, target_is_directory=to_folder)
    except OSError as error:
        if error.errno in _NO_LINKS or getattr(error, "winerror", None) == _PRIVILEGE_NOT_HELD:
            return False
        raise
    return True
