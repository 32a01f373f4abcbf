"""A damaged issue set aside: kept, out of the way of the next run, its number never given again."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

from msgspec import Struct

from pipeline.intake.prepare import load, owner
from pipeline.issue.folder import current
from pipeline.issue.folder.folder_names import ISSUES, SET_ASIDE, name_aside
from pipeline.issue.folder.publish import issues, job_lock, leave, recover
from pipeline.issue.folder.setting_aside import SettingAside, note_setting_aside, strike_out
from pipeline.issue.folder.standing_issues import aside
from pipeline.issue.folder.synced_write import sync
from pipeline.issue.folder.thinned_issues import read_thinned
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import LaterRecordError, RecordError, read_record
from pipeline.problems import JobError, Problem, refusals_told, refused, remedy, said_of
from pipeline.verify import verify


class SetAside(Struct, frozen=True):
    """What was done: the issue, where it is kept (None where nothing was left of it), the newest one that is left."""

    issue: int
    kept: Path | None
    stands: int | None
    why: str


@refusals_told()
def set_aside(path: Path, number: int) -> SetAside:
    """Move a damaged issue out of the issues, and note it in the issues list.

    Args:
        path: the job file.
        number: the issue.

    Raises `JobError` where there is no such issue, where it is what was issued, or where the disk refuses; and
    `JobHeld` where a run holds the job.
    """
    loaded = load(path)
    folder, name = loaded.job.job.folder, f"issue {number:03d}"
    if not folder.is_dir():
        raise refused(path, f"there is no {name} in {folder}", "see what tiedown history says")
    with job_lock(folder, owner(loaded)):
        if number in aside(folder):
            raise refused(path, f"{name} was set aside already", "it is not in the way of a run")
        why = _damage(folder, number)
        if why is None:
            what, fix = f"{name} is what was issued", "only an issue that is damaged is set aside; a run makes the next"
            raise refused(path, what, fix)
        try:
            planned = _planned(folder, number, why)
            note_setting_aside(folder, planned)
            kept = _move(folder, planned)
            _finish(folder)
        except OSError as error:
            what = f"{name} cannot be set aside: {said_of(error)}"
            raise JobError([Problem(str(folder), 0, what, remedy(error))]) from error
        left = [each for each, _ in issues(folder)]
    return SetAside(number, kept, max(left, default=None), why)


def _damage(folder: Path, number: int) -> str | None:
    """Return in words what is wrong with an issue, None where nothing is. Raises `JobError` where there is none."""
    path = folder / ISSUES / f"{number:03d}" / RECORD
    try:
        read_record(path)
        list(path.parent.iterdir())
        read_thinned(path.parent)
    except LaterRecordError as error:
        raise refused(path, str(error).removeprefix(f"{path} "), error.fix) from error
    except PermissionError as error:  # nothing says that it is damaged
        place = error.filename if isinstance(error.filename, str) else path
        raise refused(place, f"issue {number:03d} cannot be read: {error.strerror}", remedy(error)) from error
    except (RecordError, OSError):
        pass  # `verify` says it
    found = verify(folder)
    wrong = [str(one) for one in found.of(number) if one.differs]
    if not wrong and number not in found.issues:
        raise refused(folder, f"there is no issue {number:03d} in this folder", "see what tiedown history says")
    return "; ".join(wrong) or None


def _planned(folder: Path, number: int, why: str) -> SettingAside:
    at = datetime.now(UTC).replace(microsecond=0)
    while os.path.lexists(folder / SET_ASIDE / name_aside(number, at)):  # put back, and damaged again within a second
        at += timedelta(seconds=1)
    there = os.path.lexists(folder / ISSUES / f"{number:03d}")
    return SettingAside(number, at, name_aside(number, at) if there else None, why)


def _move(folder: Path, what: SettingAside) -> Path | None:
    """Move an issue, and a copy of it under ``current``, to the place of those set aside; return where it is kept.

    ``current`` leaves it before it goes, so that it never leads to nothing.
    """
    place = folder / SET_ASIDE
    leave(folder, what.issue, place / name_aside(what.issue, what.at))
    if what.kept is not None:
        issue = folder / ISSUES / f"{what.issue:03d}"
        os.rename(issue, place / what.kept)
        sync(issue.parent)
    sync(place)
    return place / what.kept if what.kept is not None else None


def _finish(folder: Path) -> None:
    """Write its line, and let ``current`` show what is left, as the next run would after a kill."""
    try:
        shown = recover(folder)
    except RecordError:  # an older one is damaged as well: the line is written by then, and nothing is to be shown
        shown = None
    if shown is None or not (folder / current.NAME).exists():
        current.remove_link(folder)
    strike_out(folder)  # the caller tells it
