"""What was at hand when the newest issue was made or last found unchanged: a note of this machine, beside the issues.

It only saves time. Where it is missing, or says something else, a run looks at everything; it is no part of an issue.
"""

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.issue.folder.durable import put
from pipeline.issue.folder.plain_names import is_plain_link

NAME = ".confirmed"

#: What a file system says of a file: its size and the time of its last change.
Signs = tuple[int, int]


@dataclass(frozen=True)
class Confirmed:
    """The sum of everything at hand, None where there is none for the issue, and the signs of the issue's files."""

    at_hand: str | None = None
    signs: Mapping[str, Signs] = field(default_factory=dict)


def confirmed(folder: Path, issue: int) -> Confirmed:
    """Return what was noted for an issue; nothing where there is no note, or it is another issue's."""
    try:
        noted = json.loads((folder / NAME).read_text(encoding="utf-8"))
        if noted["issue"] != issue:
            return Confirmed()
        signs = {str(name): (int(size), int(time)) for name, (size, time) in noted.get("signs", {}).items()}
        return Confirmed(str(noted["at_hand"]), signs)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return Confirmed()


def confirm(folder: Path, issue: int, at_hand: str, signs: Mapping[str, Signs]) -> None:
    """Note the sum for an issue and the signs of its files, in one step; where the disk refuses, there is no note."""
    said = json.dumps({"issue": issue, "at_hand": at_hand, "signs": signs})
    with suppress(OSError):
        put(folder, NAME, f"{said}\n".encode(), synced=False)


def signs_of(issue: Path) -> dict[str, Signs]:
    """Return the signs of everything in an issue's folder but what readers alone touch, and links. Raises OSError."""
    files = (path for path in issue.iterdir() if not path.name.endswith("-shm") and not is_plain_link(path))
    at = {path.name: path.stat() for path in files}
    return {name: (found.st_size, found.st_mtime_ns) for name, found in at.items()}
