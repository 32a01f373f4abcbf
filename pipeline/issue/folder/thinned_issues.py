"""Issues of which record and report alone are kept: what of their files was removed by ``issue.keep``, and when.

A note in the issue's folder says it. It is written before the first file goes, so that an issue is whole or thinned,
whatever is killed between; a run that finds files which a note names goes on with them. What somebody deletes by hand
has no note, and is damage.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

from pipeline.clock import iso
from pipeline.digest import digest
from pipeline.files.regular_files import read_note
from pipeline.files.shared_rights import share
from pipeline.issue.folder.folder_names import scratch
from pipeline.issue.folder.issues_list import REMOVED, Entry, read_issues_list
from pipeline.issue.folder.plain_names import is_plain_link, plain_name
from pipeline.issue.folder.synced_write import sync, write_synced
from pipeline.problems import JobError, Problem

if TYPE_CHECKING:
    from pipeline.issue.record_types import FileIssued

NAME = "removed.json"


class Thinned(Struct, frozen=True):
    """An issue's files that were removed, each with its sum, when, and what ``issue.keep`` was then."""

    issue: int
    keep: int
    at: datetime
    files: dict[str, str]

    def entry(self) -> Entry:
        """Return its line in the issues list."""
        return Entry(self.issue, self.at, REMOVED, f"issue.keep = {self.keep}: {', '.join(self.files)}")

    def __str__(self) -> str:
        return f"its files were removed by issue.keep = {self.keep} on {iso(self.at, 'seconds')}"


def may_go(files: Iterable[FileIssued]) -> dict[str, str]:
    """Return which files of an issue may be removed, each with its sum: not the report, which may have been signed."""
    return {one["name"]: one["sha256"] for one in files if not one["name"].endswith(".html")}


def read_thinned(place: Path) -> Thinned | None:
    """Return what was removed of the issue in a folder, None where nothing was, or nothing that can be read says so.

    Raises PermissionError where the note may not be read: files that were removed would pass for lost.
    """
    try:
        said = json.loads(read_note(place / NAME))
        at = datetime.fromisoformat(said["at"])
        files = {str(one["name"]): str(one["sha256"]) for one in said["files"]}
        return Thinned(int(said["issue"]), int(said["keep"]), at, files) if at.tzinfo is not None else None
    except PermissionError:
        raise
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def refuse_thinned(place: Path) -> None:
    """Raise `JobError` where files of an issue are needed that were removed."""
    if (found := read_thinned(place)) is not None:
        fix = "name another issue; or restore all of its folder from a backup, with a larger issue.keep"
        raise JobError(
            [Problem(str(place), 0, f"issue {found.issue:03d} has only its record and report: {found}", fix)]
        )


def thin(folder: Path, place: Path, what: Thinned) -> bool:
    """Remove files of an issue in a job's ``folder``; return whether none of them is left. Raises OSError."""
    files = [{"name": name, "sha256": sha256} for name, sha256 in what.files.items()]
    said = {"issue": what.issue, "keep": what.keep, "at": iso(what.at, "seconds"), "files": files}
    fresh = folder / scratch(NAME)
    write_synced(fresh, (json.dumps(said, indent=2) + "\n").encode())
    share(fresh, place)
    os.replace(fresh, place / NAME)
    sync(place)
    return finish(place, what)


def finish(place: Path, what: Thinned) -> bool:
    """Remove what is left of the files of a thinned issue, and return whether none is. Raises OSError.

    A file that another program holds open stays (Windows), as does a copy under a name that stays and is not as issued.
    """
    gone = True
    for name, sha256 in what.files.items():
        short = plain_name(name, what.issue)
        with suppress(FileNotFoundError):
            if short is not None and (is_plain_link(place / short) or digest(place / short) == sha256):
                (place / short).unlink()
        try:
            (place / name).unlink(missing_ok=True)
        except PermissionError:
            gone = False
    sync(place)
    return gone


def finished_lines(folder: Path, places: Iterable[Path]) -> Iterator[Entry]:
    """Yield the lines that the issues list lacks of thinned issues, once all of their files are gone."""
    found = [place for place in places if os.path.lexists(place / NAME)]
    listed = {entry.issue for entry in read_issues_list(folder) if entry.verdict == REMOVED} if found else set()
    for place in found:
        if (
            int(place.name) not in listed
            and (what := read_thinned(place)) is not None
            and what.issue == int(place.name)
        ):
            with suppress(OSError):
                if finish(place, what):
                    yield what.entry()
