"""``current``: the newest issue under a name that stays, switched in one step.

A symbolic link where the file system and the user's rights allow one, else a plain copy of the issue.
"""

import os
from collections.abc import Iterable
from pathlib import Path

from pipeline.files.plain_copies import copy_folder
from pipeline.files.regular_files import read_whole
from pipeline.issue.folder.folder_names import ISSUES, is_number
from pipeline.issue.folder.plain_names import lay_all, make_link
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError, read_any_version
from pipeline.limits import NOTE

NAME = "current"


class Switch:
    """One change of ``current``, in steps: everything that may fail for want of room comes before the issue appears."""

    def __init__(self, folder: Path, issue: Path, source: Path, scratch: str) -> None:
        """Prepare ``current -> issue`` beside the present one; a copy, where it must be one, is made from ``source``.

        ``scratch`` begins the names of what is laid beside. Raises OSError.
        """
        self._current = folder / NAME
        self._fresh = folder / f"{scratch}-{NAME}"
        self._old = folder / f"{scratch}-old"
        self._is_link = make_link(issue.relative_to(folder), self._fresh, to_folder=True)
        if not self._is_link:
            copy_folder(source, self._fresh)
            lay_all(folder, self._fresh, int(issue.name))

    def make_room(self) -> None:
        """Move aside what cannot be replaced in one step: a copy, or anything by a copy. Raises OSError."""
        present = os.path.lexists(self._current)
        replaceable = self._is_link and not (self._current.is_dir() and not self._current.is_symlink())
        if present and not replaceable:
            os.rename(self._current, self._old)

    def undo(self) -> None:
        """Put back what was moved aside, if the issue did not appear after all. Raises OSError."""
        if os.path.lexists(self._old) and not os.path.lexists(self._current):
            os.rename(self._old, self._current)

    def finish(self) -> None:
        """Let ``current`` be the new one. Raises OSError."""
        os.replace(self._fresh, self._current)


def shows(folder: Path, issue: Path) -> bool:
    """Say whether ``current`` is the issue: a link to it, or a copy with its record."""
    current = folder / NAME
    if current.is_symlink():
        return current.resolve() == issue.resolve()
    try:
        return read_whole(current / RECORD, NOTE) == read_whole(issue / RECORD, NOTE)
    except OSError:  # gone, no folder, or damaged
        return False


def name_files(folder: Path, issue: Path) -> None:
    """Let the files of the issue that ``current`` shows have their names without the number. Raises OSError.

    An issue that was made before there were such names gets them here; its files are left as they are.
    """
    current = folder / NAME
    lay_all(folder, issue if current.is_symlink() else current, int(issue.name))


def remove_link(folder: Path) -> None:
    """Remove a link to an issue where none is left that it may show. Raises OSError."""
    if (folder / NAME).is_symlink():
        (folder / NAME).unlink()


def not_ours(folder: Path) -> str | None:
    """Say what lies under the name of ``current`` that a run did not put there, None where nothing does.

    Ours is a link to an issue's place, or a copy of an issue with nothing in it but the issue's files.
    """
    current = folder / NAME
    if current.is_symlink():
        target = current.readlink()
        ours = target.parent in (Path(ISSUES), folder / ISSUES) and is_number(target.name)
        return None if ours else f"a link to {target}"
    if not os.path.lexists(current):
        return None
    if not current.is_dir():
        return "a file"
    strange = _strange(current, sorted(path.name for path in current.iterdir()))
    if strange is None:
        return "a folder that is not a copy of an issue"
    return f"a folder with {strange[0]}{' and more' if len(strange) > 1 else ''} in it" if strange else None


def _strange(copy: Path, names: Iterable[str]) -> list[str] | None:
    """Return what of a folder's names is not of the issue that its record is of, None where it has no record."""
    try:
        said = read_any_version(copy / RECORD)
        begins = (f"{said['job']}-{said['issue']:03d}.", f"{said['job']}.")
    except (RecordError, OSError, KeyError, TypeError, ValueError):
        return None
    return [name for name in names if not name.startswith(begins) and name != RECORD]
