"""Links, or copies, of an issue's files: names without the number, and the copy of the issue as ``current``.

Both are links as a rule. Where a folder was copied with its links followed, or where links are not to be had, they are
files that somebody may change, or that may have come through in part. Which of them are not known to be right is found
here, for a run that puts them right and for the office's page alike; how a file's content is read is theirs.
"""

import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from msgspec import Struct

from pipeline.files.unlocked_database import BESIDE
from pipeline.issue.folder.confirmation import Signs, all_signs, as_noted
from pipeline.issue.folder.current import NAME as CURRENT
from pipeline.issue.folder.plain_names import is_plain_link, plain_name
from pipeline.issue.record_types import FileIssued, Record


class StandIn(Struct, frozen=True):
    """A name under which drafters get a file of an issue, and which is neither its link nor as it was last looked at.

    Args:
        path: where it lies: in the issue's folder, or in ``current`` (``in_copy``), where that is a copy.
        entry: the file for which it stands, by the record.
        whole: that file.
    """

    path: Path
    entry: FileIssued
    whole: Path
    in_copy: bool

    @property
    def leads_to(self) -> str | None:
        """Return where it leads, None where it is no link. What leads elsewhere holds nothing that could be lost."""
        return os.readlink(self.path) if self.path.is_symlink() else None

    @property
    def is_gone(self) -> bool:
        """Say whether nothing has the name."""
        return not os.path.lexists(self.path)

    def is_part(self) -> bool:
        """Say whether it is the beginning of the file, and nothing waits beside it. Raises OSError."""
        if any(self.path.with_name(f"{self.path.name}{ending}").exists() for ending in BESIDE):
            return False
        with self.path.open("rb") as one, self.whole.open("rb") as other:
            while piece := one.read(1 << 20):
                if piece != other.read(len(piece)):
                    return False
            return bool(other.read(1))


def stand_ins(folder: Path, issue: Path, record: Record, noted: Mapping[str, Signs]) -> Iterator[StandIn]:
    """Yield what stands for the files of the issue that ``current`` shows and is not known to be right.

    An issue has names without the number where links are to be had, and no copy of a link lacks one: where ``current``
    is a copy, those that the issue itself lacks are not missed.

    Args:
        folder: the job's.
        issue: the issue's.
        record: its record.
        noted: `all_signs` when they were last looked at.

    Raises OSError.
    """
    signs, copy = all_signs(folder, issue), folder / CURRENT
    copied = copy.is_dir() and not copy.is_symlink()
    number, own = record["issue"], {entry["name"] for entry in record["files"]}
    for entry in record["files"]:
        short = plain_name(entry["name"], number)
        names = [short] if short is not None and short not in own else []
        places = [(issue / name, name, False) for name in names if not copied or os.path.lexists(issue / name)]
        if copied:
            places += [(copy / name, f"{CURRENT}/{name}", True) for name in (entry["name"], *names)]
        for path, key, in_copy in places:
            if not is_plain_link(path, number) and not as_noted(key, signs, noted):
                yield StandIn(path, entry, issue / entry["name"], in_copy)
