"""Which issue ``current`` is to show: the newest that was released when it was made, or the one released by hand.

A release by hand stands until something else than the program makes another issue: where the newest was passed over by
hand, so is the same made again by another version, with the same points.

What is done by hand is kept beside the issues, since an issue never changes: in a note of one line, and for people as
a line of the issues list, from which the note is made again where it is gone.
"""

import json
import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from msgspec import Struct

from pipeline.clock import iso
from pipeline.files.regular_files import read_note
from pipeline.issue.folder import thinned_issues
from pipeline.issue.folder.folder_names import ISSUES
from pipeline.issue.folder.issues_list import RELEASED, Entry, read_issues_list
from pipeline.issue.folder.synced_write import replace_synced
from pipeline.issue.made_from import same_again
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import read_any_version

NAME = ".released"


class ManualRelease(Struct, frozen=True):
    """The issue that somebody released, when and why, and the newest issue that there was then."""

    issue: int
    newest: int
    at: datetime
    because: str

    def entry(self) -> Entry:
        """Return its line in the issues list."""
        return Entry(self.issue, self.at, RELEASED, self.because)


def read_release(folder: Path) -> ManualRelease | None:
    """Return what was last released by hand; None where nothing was. Raises `JobError` as `read_issues_list`."""
    try:
        said = json.loads(read_note(folder / NAME))
        at = datetime.fromisoformat(said["at"])
        if at.tzinfo is not None:
            return ManualRelease(int(said["issue"]), int(said["newest"]), at, str(said["because"]))
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        pass
    return _listed(read_issues_list(folder))


def _listed(entries: Iterable[Entry]) -> ManualRelease | None:
    """Return the same from the list: what stands before the line of a release was there when it was made."""
    newest, found = 0, None
    for entry in entries:
        if entry.verdict == RELEASED:
            found = ManualRelease(entry.issue, newest, entry.made_at, entry.because)
        newest = max(newest, entry.issue)
    return found


def write_release(folder: Path, released: ManualRelease) -> None:
    """Note that an issue is released, in one step; `publish.recover` then lets ``current`` show it. Raises OSError."""
    said = {
        "issue": released.issue,
        "newest": released.newest,
        "at": iso(released.at, "seconds"),
        "because": released.because,
    }
    replace_synced(folder, NAME, (json.dumps(said) + "\n").encode())


def find_issue_to_show(folder: Path, issues: Iterable[int], said: Mapping[str, Any] | None = None) -> int | None:
    """Return the number of the issue that ``current`` is to show, None where none is released.

    One whose files were removed is none of them.

    ``issues`` are the numbers of those there are, ``said`` the newest one's record where it has been read already.
    Raises `RecordError` and OSError where a record that decides it cannot be read, and `JobError` as
    `read_issues_list`.
    """
    numbers, hand = sorted(issues, reverse=True), read_release(folder)
    until = stands_until(folder, numbers, hand, said) if hand is not None else 0
    for number in numbers:
        if hand is not None and number <= until and hand.issue in numbers:
            return hand.issue
        if os.path.lexists(folder / ISSUES / f"{number:03d}" / thinned_issues.NAME):
            continue
        if not is_pending(_stated(folder, number, said)):
            return number
    return None


def stands_until(
    folder: Path, issues: Iterable[int], hand: ManualRelease, said: Mapping[str, Any] | None = None
) -> int:
    """Return the newest issue up to which a release by hand stands: the newest of then, or the same made again since.

    Raises as `find_issue_to_show`, with its arguments.
    """
    numbers, until = set(issues), hand.newest
    later = sorted(number for number in numbers if number > hand.newest)
    if hand.issue == hand.newest or not later or not {hand.issue, hand.newest} <= numbers:
        return until  # what was released itself may be followed by the same, of which the program knows more
    passed_over = _stated(folder, hand.newest, said)
    for number in later:
        if not same_again(_stated(folder, number, said), passed_over):
            break
        until = number
    return until


def _stated(folder: Path, number: int, said: Mapping[str, Any] | None) -> Mapping[str, Any]:
    """Return the record of an issue: ``said`` where it is that one's."""
    if said is not None and said.get("issue") == number:
        return said
    return read_any_version(folder / ISSUES / f"{number:03d}" / RECORD)


def is_pending(said: Mapping[str, Any]) -> bool:
    """Say whether an issue was not released when it was made, by what its record says, of whatever version."""
    release = said.get("release")
    return isinstance(release, dict) and release.get("pending") is True


def missing_line(folder: Path, more: Sequence[Entry] = ()) -> list[Entry]:
    """Return the line of what was last released by hand where the issues list lacks it: a run or command died.

    ``more`` are lines that are about to be added.
    """
    hand = read_release(folder)
    if hand is None:
        return []
    entries = [entry for entry in (*read_issues_list(folder), *more) if entry.verdict == RELEASED]
    lines = {(entry.issue, iso(entry.made_at, "seconds")) for entry in entries}
    return [] if (hand.issue, iso(hand.at, "seconds")) in lines else [hand.entry()]
