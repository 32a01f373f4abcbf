"""An issue on its way out: noted before it is moved, so that what a kill left half done is told and gets its line.

The note stands beside the issues that were set aside, until the issues list says the same and whoever asked for it, or
runs the job next, was told.
"""

import json
import os
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from msgspec import Struct

from pipeline.clock import iso
from pipeline.files.regular_files import read_note
from pipeline.files.shared_rights import share
from pipeline.issue.folder.folder_names import ISSUES, numbered, scratch, set_aside, when_set_aside
from pipeline.issue.folder.folder_names import SET_ASIDE as PLACE
from pipeline.issue.folder.issues_list import SET_ASIDE, Entry, entries_of_making, read_issues_list
from pipeline.issue.folder.synced_write import make_folder, sync, write_synced

NAME = ".being-set-aside"


class SettingAside(Struct, frozen=True):
    """An issue that is set aside: when, why, and by which name it is kept; None where nothing is left of it."""

    issue: int
    at: datetime
    kept: str | None
    because: str

    def entry(self) -> Entry:
        """Return its line in the issues list."""
        where = f"kept in {PLACE}/{self.kept}" if self.kept is not None else "nothing is left of it"
        return Entry(self.issue, self.at, SET_ASIDE, f"{where}; {self.because}")

    def is_moved(self, folder: Path) -> bool:
        """Say whether the issue stands among the issues no more, and lies where it is kept."""
        if os.path.lexists(folder / ISSUES / f"{self.issue:03d}"):
            return False
        return self.kept is None or os.path.lexists(folder / PLACE / self.kept)


def note_setting_aside(folder: Path, what: SettingAside) -> None:
    """Note that an issue is about to be set aside. Raises OSError."""
    said = {"issue": what.issue, "at": iso(what.at, "seconds"), "kept": what.kept, "because": what.because}
    make_folder(folder / PLACE)
    fresh = folder / scratch("aside")  # in the job's folder, where a sweep finds it
    write_synced(fresh, (json.dumps(said) + "\n").encode())
    share(fresh, folder / PLACE)
    os.replace(fresh, folder / PLACE / NAME)
    sync(folder / PLACE)


def read_setting_aside(folder: Path) -> SettingAside | None:
    """Return what is noted, None where nothing is, or nothing that can be read."""
    try:
        said = json.loads(read_note(folder / PLACE / NAME))
        kept = str(said["kept"]) if said["kept"] is not None else None
        found = SettingAside(int(said["issue"]), datetime.fromisoformat(said["at"]), kept, str(said["because"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return found if found.at.tzinfo is not None else None


def cut_short(folder: Path) -> SettingAside | None:
    """Return what is noted where the issue was moved: nobody was told of it yet."""
    noted = read_setting_aside(folder)
    return noted if noted is not None and noted.is_moved(folder) else None


def strike_out(folder: Path) -> None:
    """Take the note away: somebody was told, or the issue stands where it stood. Raises OSError."""
    if os.path.lexists(folder / PLACE / NAME):
        (folder / PLACE / NAME).unlink(missing_ok=True)


def lines_of_aside(folder: Path) -> dict[int, Entry]:
    """Return the line of each issue that was set aside and does not stand, by number, whether the list has it or not.

    Raises `JobError` where the issues list cannot be read.
    """
    last = entries_of_making(read_issues_list(folder))
    listed = {number: entry for number, entry in last.items() if entry.verdict == SET_ASIDE}
    found = {**{entry.issue: entry for entry in _moved(folder)}, **listed}
    standing = {number for number, _ in numbered(folder)}
    return {number: found[number] for number in sorted(found.keys() - standing)}


def missing_lines(folder: Path, more: Iterable[Entry] = ()) -> list[Entry]:
    """Return the lines that the issues list lacks of issues that were set aside; ``more`` are about to be added.

    Raises `JobError` where the issues list cannot be read.
    """
    entries, noted = (*read_issues_list(folder), *more), read_setting_aside(folder)
    last, listed = entries_of_making(entries), {(one.issue, one.because) for one in entries if one.verdict == SET_ASIDE}
    return [
        entry
        for entry in _moved(folder)
        if (line := last.get(entry.issue)) is None
        or line.verdict != SET_ASIDE
        # one that was put back is set aside again under another name
        or (noted is not None and noted.issue == entry.issue and (entry.issue, entry.because) not in listed)
    ]


def _moved(folder: Path) -> Iterator[Entry]:
    """Yield the lines of issues by what lies set aside; where there is no note, where it is kept and when are known."""
    noted = read_setting_aside(folder)
    if noted is not None and noted.is_moved(folder):
        yield noted.entry()
    for number, path in sorted(set_aside(folder).items()):
        known = noted is not None and noted.issue == number
        if not known and not os.path.lexists(folder / ISSUES / f"{number:03d}"):
            yield _kept_since(number, path)


def _kept_since(number: int, path: Path) -> Entry:
    """Return the line of an issue of which only the folder is known that it was moved to."""
    at = when_set_aside(path) or datetime.fromtimestamp(path.stat().st_mtime, UTC)
    return Entry(number, at, SET_ASIDE, f"kept in {PLACE}/{path.name}; the reason is not known")
