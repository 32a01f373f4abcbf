"""Do drafters get what was issued? What stands for its files: names without the number, and a copy in ``current``.

Both are links as a rule. Where a folder was copied with its links followed, or where links are not to be had, they are
files that somebody may change, or that may have come through in part.
"""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.files.at_rest import BESIDE
from pipeline.issue.folder.confirmed import Signs, all_signs
from pipeline.issue.folder.current import NAME as CURRENT
from pipeline.issue.folder.plain_names import is_plain_link, lay_again, plain_name
from pipeline.issue.folder.publish import replace_current
from pipeline.issue.record_types import FileIssued, Record
from pipeline.problems import JobError, Problem
from pipeline.reissue.intact import as_noted, is_as_issued

_FIX = "keep elsewhere what is still needed of it, remove it and run the job again: the run lays what was issued there"


@dataclass
class _Found:
    """What does not show an issue's file: what somebody changed, which names of the issue's own lead astray and how.

    ``astray`` are a file of the issue and its name without the number; ``in_part`` says that the copy under ``current``
    lacks something.
    """

    altered: list[Problem] = field(default_factory=list)
    astray: list[tuple[str, str]] = field(default_factory=list)
    in_part: bool = False


def refuse_other(folder: Path, issue: Path, record: Record, noted: Mapping[str, Signs]) -> None:
    """Raise `JobError` for every file that stands for one of an issue and holds something else; OSError.

    Args:
        folder: the job's.
        issue: the folder of the issue that ``current`` shows, whose own files are as issued.
        record: its record.
        noted: `all_signs` when they were last looked at; files that have these signs are not read again.
    """
    if altered := _look(folder, issue, record, noted).altered:
        raise JobError(altered)


def put_right(folder: Path, issue: Path, record: Record, noted: Mapping[str, Signs]) -> None:
    """As `refuse_other`, and lay anew what nobody changed: links that lead elsewhere, and what came in part."""
    found = _look(folder, issue, record, noted)
    if found.altered:
        raise JobError(found.altered)
    lay_again(folder, issue, found.astray)
    if found.in_part:
        replace_current(folder, issue)


def _look(folder: Path, issue: Path, record: Record, noted: Mapping[str, Signs]) -> _Found:
    signs, found, copy = all_signs(folder, issue), _Found(), folder / CURRENT
    copied = copy.is_dir() and not copy.is_symlink()
    for entry, short in _stood_for(record):
        whole = issue / entry["name"]
        # where links are not to be had, the issue itself has no such names, and no copy of a link lacks one
        there = short is not None and os.path.lexists(issue / short)
        if short is not None and there and _is_other(issue / short, short, whole, entry, signs, noted, found):
            found.astray.append((entry["name"], short))
        for name in (entry["name"], short) if copied else ():
            if name is not None:
                found.in_part |= _is_other(copy / name, f"{CURRENT}/{name}", whole, entry, signs, noted, found)
    return found


def _stood_for(record: Record) -> Iterator[tuple[FileIssued, str | None]]:
    """Yield the files of an issue, each with its name without the number, if no other file has that name."""
    names = {entry["name"] for entry in record["files"]}
    for entry in record["files"]:
        short = plain_name(entry["name"], record["issue"])
        yield entry, short if short not in names else None


def _is_other(
    path: Path,
    key: str,
    whole: Path,
    entry: FileIssued,
    signs: Mapping[str, Signs],
    noted: Mapping[str, Signs],
    found: _Found,
) -> bool:
    """Say whether a file is to be laid anew; one that somebody changed goes into what is ``found``. Raises OSError."""
    if is_plain_link(path, int(whole.parent.name)) or as_noted(key, signs, noted):
        return False
    if path.is_symlink():
        return True  # nothing is lost by it
    if not path.exists():
        return True
    if not is_as_issued(path, entry):
        if _is_part(path, whole):
            return True
        what = f"it is not the file {entry['name']} of issue {int(whole.parent.name):03d}, for which it stands"
        found.altered.append(Problem(str(path), 0, what, _FIX))
    return False


def _is_part(path: Path, whole: Path) -> bool:
    """Say whether a file is another's beginning, and nothing waits beside it. Raises OSError."""
    if any(path.with_name(f"{path.name}{ending}").exists() for ending in BESIDE):
        return False
    with path.open("rb") as one, whole.open("rb") as other:
        while piece := one.read(1 << 20):
            if piece != other.read(len(piece)):
                return False
        return bool(other.read(1))
