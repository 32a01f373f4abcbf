"""``issue.keep``: thins older issues to record and report.

Never of one that anybody or anything may need again: the newest and the current, one that waits to be released or ever
was released after that, one that is not what was issued, and one of an early version that cannot be shown to be.
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from pipeline.files.unlocked_database import logs_of
from pipeline.issue.folder.intact import damage
from pipeline.issue.folder.issues_list import RELEASED, how_released, read_issues_list
from pipeline.issue.folder.manual_release import is_pending, read_release
from pipeline.issue.folder.publish import add_lines, issues
from pipeline.issue.folder.standing_issues import standing_issue
from pipeline.issue.folder.thinned_issues import Thinned, may_go, read_thinned, thin
from pipeline.issue.record import RecordError
from pipeline.issue.record_types import Record
from pipeline.problems import JobError
from pipeline.words import counted

#: Reasons that somebody is to look into, so that they are told although nothing was removed.
_DAMAGED = "not what was issued"


def retain(folder: Path, keep: int, shown: int | None) -> tuple[str, ...]:
    """Thin the issues that need not be kept; return in words what was done, nothing where nothing was.

    The job is held, and all is in place. What cannot be removed is said, and tried again by the next issue.

    Args:
        folder: the job's.
        keep: so many of the newest issues stay as they are; 0: all.
        shown: the issue that `current` shows.
    """
    older = issues(folder)[:-keep] if keep and shown is not None else []
    if not older:
        return ()
    done: dict[int, int] = {}
    stays: dict[int, str] = {}
    try:
        released = _released(folder)
        for number, at in older:
            place = at.parent
            if number == shown or read_thinned(place) is not None:
                continue
            record = None if number in released else _record(folder, number)
            why = released.get(number) or _needed(place, record, shown)
            if record is None or why is not None:
                stays[number] = why or _DAMAGED
            else:
                done[number] = _thin(folder, place, record, keep)
    except (OSError, JobError) as error:
        return (*_told(keep, done, stays), f"issue.keep = {keep}: files could not be removed: {error}")
    return _told(keep, done, stays)


def _released(folder: Path) -> dict[int, str]:
    """Return of all issues that were ever released after they were made how they last were."""
    hand = read_release(folder)
    listed = {
        entry.issue: how_released(entry.because) for entry in read_issues_list(folder) if entry.verdict == RELEASED
    }
    return listed | ({hand.issue: how_released(hand.because)} if hand is not None else {})


def _record(folder: Path, number: int) -> Record | None:
    """Return an issue's record, None where it is not what was issued."""
    try:
        return standing_issue(folder, number)[1]
    except (JobError, RecordError):
        return None


def _needed(place: Path, record: Record | None, shown: int | None) -> str | None:
    """Return why the files of an issue stay, None where they need not."""
    if record is None:
        return _DAMAGED
    if shown is not None and record["issue"] > shown and is_pending(record):
        return "waits to be released"
    files = may_go(record["files"])
    if not files:
        return "no checksums recorded"
    if any(logs_of(place / name) for name in files if name.endswith(".gpkg")):
        return "open in another program"
    return _DAMAGED if damage(place, record, {}) else None


def _thin(folder: Path, place: Path, record: Record, keep: int) -> int:
    """Thin an issue and return how many bytes its files had. Raises OSError."""
    files = may_go(record["files"])
    size = sum((place / name).stat().st_size for name in files)
    what = Thinned(record["issue"], keep, datetime.now(UTC).replace(microsecond=0), files)
    if thin(folder, place, what):
        add_lines(folder, [what.entry()])
    return size


def _told(keep: int, done: Mapping[int, int], stays: Mapping[int, str]) -> tuple[str, ...]:
    """Return one line of what was removed and what stays beside the newest, and why."""
    told = []
    if done:
        size = sum(done.values()) / 1e6
        told.append(
            f"files of {counted(len(done), 'issue')} removed ({_numbers(done)}, {size:,.1f} MB), record and report stay"
        )
    for why in dict.fromkeys(stays.values()):
        if done or why == _DAMAGED:
            those = [number for number, reason in stays.items() if reason == why]
            told.append(f"{_numbers(dict.fromkeys(those, 0))} kept whole: {why}")
    return (f"issue.keep = {keep}: {'; '.join(told)}",) if told else ()


def _numbers(of: Mapping[int, object]) -> str:
    shown = [f"{number:03d}" for number in of]
    return ", ".join(shown) if len(shown) <= 6 else f"{shown[0]} to {shown[-1]}"
