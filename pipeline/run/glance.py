"""Decides from checksums alone whether the job is unchanged, before heavy libraries are loaded.

A run notes what it saw around it (`surroundings`) beside the issue that it made or confirmed. Where all of that is as
it was, so is the issue; in any doubt a run looks at everything.
"""

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from pipeline import limits
from pipeline.digest import digest
from pipeline.files.file_patterns import Closed, TooMany, named_by
from pipeline.files.regular_files import read_whole
from pipeline.issue.folder.confirmation import Confirmed, all_signs, newest_confirmed
from pipeline.issue.folder.folder_names import ISSUES
from pipeline.issue.folder.ownership import Owner, find_keeper, in_the_way
from pipeline.issue.folder.publish import job_lock, next_number, recover
from pipeline.issue.folder.setting_aside import cut_short
from pipeline.issue.folder.standing_issues import missing_notes
from pipeline.issue.folder.unnotified_issues import read_unnotified
from pipeline.issue.record import NAME, RecordError, is_sealed, read_any_version
from pipeline.issue.schema_number import SCHEMA
from pipeline.job.named_folder import as_written, folder_named
from pipeline.problems import JobError
from pipeline.run.outcome import Outcome, outcome
from pipeline.run.surroundings import RawFile, seen, surroundings

if TYPE_CHECKING:
    from pipeline.issue.record_types import Record


def unchanged_at_a_glance(path: Path) -> Outcome | None:
    """Return the newest issue of a job where all that was seen around it is as it was; None where a run is to look.

    Raises `JobHeld` where another run holds the job.
    """
    try:
        folder = folder_named(path)
        number, noted = (newest_confirmed(folder) if folder is not None else None) or (0, Confirmed())
        if folder is None or not noted.glanced.seen:
            return None
        raw = as_written(read_whole(path, limits.JOB_FILE))
        owner = Owner(raw["job"]["name"], path.absolute())
        if not _as_seen(path, raw, folder, noted) or in_the_way(folder, owner):
            return None
        with job_lock(folder, owner):
            return _standing(folder, number, noted)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    except (JobError, RecordError, TooMany, Closed):
        return None


def _as_seen(path: Path, raw: Mapping[str, Any], folder: Path, noted: Confirmed) -> bool:
    around = surroundings(path, noted.glanced.looked)
    return seen(around, _raw_files(path.absolute().parent, raw, folder)) == noted.glanced.seen


def _raw_files(folder: Path, raw: Mapping[str, Any], issued: Path) -> Iterator[RawFile]:
    """Yield the raw files of a job, ``issued`` being the folder of its issues. Raises OSError."""
    is_issued = find_keeper(issued)
    for number, block in enumerate(raw["points"]):
        found: dict[str, str] = {}
        for pattern in block["files"]:
            for match in named_by(folder, pattern.strip(), is_issued):
                found.setdefault(os.path.realpath(match), str(Path(match)))
        for path, match in found.items():
            if os.path.lexists(f"{path}-wal") or os.path.lexists(f"{path}-journal"):
                raise OSError("a database is in use")
            yield number, match, path, digest(Path(path))


def _standing(folder: Path, number: int, noted: Confirmed) -> Outcome | None:
    """Return the newest issue where it is the one that was noted, whole, and nothing else is to be told."""
    if next_number(folder) != number + 1:
        return None
    place = folder / ISSUES / f"{number:03d}"
    said = read_any_version(place / NAME)
    shown = recover(folder, said)
    same = (
        shown == number  # else `current` may be to follow by now, and is to be looked at too
        and not read_unnotified(folder)
        and cut_short(folder) is None
        and said["schema"] == SCHEMA
        and said["sum"] == noted.glanced.record
        and is_sealed(said, (place / NAME).read_bytes())
        and all_signs(folder, place) == noted.signs
    )
    if not same:
        return None
    notes = (*noted.notes, *noted.beside, *missing_notes(folder))
    return outcome(cast("Record", said), place, False, shown, notes=notes)
