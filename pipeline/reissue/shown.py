"""Do drafters get what was issued? What stands for its files is held to it: refused, or put right.

What these are, and which are not known to be right, is for `issue/folder/stand_ins.py` to say.
"""

from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct, field

from pipeline.issue.folder.confirmation import Signs
from pipeline.issue.folder.intact import is_as_issued
from pipeline.issue.folder.plain_names import lay_again
from pipeline.issue.folder.publish import replace_current
from pipeline.issue.folder.stand_ins import stand_ins
from pipeline.issue.record_types import Record
from pipeline.problems import JobError, Problem

_FIX = "copy elsewhere what is still needed of it, delete it and run the job again: the run puts the issued file there"


class _Found(Struct):
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
    """As `refuse_other`, and lay again what nobody changed: links that lead elsewhere, and what came in part."""
    found = _look(folder, issue, record, noted)
    if found.altered:
        raise JobError(found.altered)
    lay_again(folder, issue, found.astray)
    if found.in_part:
        replace_current(folder, issue)


def _look(folder: Path, issue: Path, record: Record, noted: Mapping[str, Signs]) -> _Found:
    found = _Found()
    for one in stand_ins(folder, issue, record, noted):
        if one.is_gone and not one.in_copy:
            continue  # laid with the names of every issue, before this
        if one.leads_to is None and not one.is_gone:
            if is_as_issued(one.path, one.entry):
                continue
            if not one.is_part():
                of = f"{one.entry['name']} of issue {record['issue']:03d}"
                what = f"it is not the same as {of}, which it should be a copy of"
                found.altered.append(Problem(str(one.path), 0, what, _FIX))
                continue
        if one.in_copy:
            found.in_part = True
        else:
            found.astray.append((one.entry["name"], one.path.name))
    return found
