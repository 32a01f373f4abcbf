"""Lines that the issues list lacks, made again from what is there: records, what lies set aside, the note of a release.

A run that died leaves the newest issue without its line, of which all is known. Where the list was lost, what nothing
else has is said in its lines: when an issue was made, and why one was released by hand or set aside.
"""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path

from pipeline.issue.folder.folder_names import SET_ASIDE as PLACE
from pipeline.issue.folder.folder_names import set_aside, when_set_aside
from pipeline.issue.folder.issues_list import ANEW, RELEASED, SET_ASIDE, Entry
from pipeline.issue.folder.manual_release import is_pending, read_release, stands_until
from pipeline.issue.record import read_record
from pipeline.words import FIRST_ISSUE


def rebuilt(folder: Path, existing: Mapping[int, Path], known: set[int]) -> list[Entry]:
    """Return the lines of issues, and of what became of them, that a job's list lacks.

    Args:
        folder: the job's folder.
        existing: the record's path of every issue that there is, by its number.
        known: the numbers of issues that have a line.

    Raises RecordError and OSError where a record cannot be read, and JobError where the list cannot be.
    """
    lacking = sorted(existing.keys() - known)
    if not lacking:
        return []
    if lacking == [max(existing)] and (known or len(existing) == 1) and not (set_aside(folder) and not known):
        return [_made(lacking[0], existing[lacking[0]], anew=False)]
    if known:
        return [_made(number, existing[number], anew=True) for number in lacking]
    return list(_all(folder, existing))


def _all(folder: Path, existing: Mapping[int, Path]) -> Iterator[Entry]:
    """Yield the lines of a list that is lost, oldest first: a release stands before what was made after it."""
    hand, aside = read_release(folder), dict(_aside(folder))
    until = stands_until(folder, existing, hand) if hand is not None else 0
    shown: int | None = None
    for number in sorted({*existing, *aside}):
        if number not in existing:
            yield aside[number]
            continue
        line, said = _made(number, existing[number], anew=True), read_record(existing[number])
        if hand is not None and hand.newest < number:
            yield hand.entry()
            shown, hand = hand.issue, None
        release = said["release"]
        before = release["current"] if release is not None else None
        if before is not None and shown is not None and before != shown and before in existing:
            yield Entry(
                before,
                line.made_at,
                RELEASED,
                f"before issue {number:03d} was made; the reason is no longer known; {ANEW}",
            )
        shown = before if before is not None else shown
        yield line
        stays = hand is None and number <= until  # the release by hand stands before it
        shown = shown if is_pending(said) or stays else number
    if hand is not None:
        yield hand.entry()


def _made(number: int, path: Path, *, anew: bool) -> Entry:
    """Return the line of an issue: made when its record was written, as far as its file says."""
    record = read_record(path)
    because = "; ".join(record["changes"]["because"]) if record["changes"] is not None else FIRST_ISSUE
    made_at = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    return Entry(number, made_at, record["verdict"], f"{because}; {ANEW}" if anew else because)


def _aside(folder: Path) -> Iterator[tuple[int, Entry]]:
    for number, path in set_aside(folder).items():
        if (at := when_set_aside(path)) is not None:
            because = f"kept in {PLACE}/{path.name}; the reason is no longer known; {ANEW}"
            yield number, Entry(number, at, SET_ASIDE, because)
