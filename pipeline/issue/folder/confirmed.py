"""What was at hand when the newest issue was made or last found unchanged: a note of this machine, beside the issues.

It only saves time. Where it is missing, or says something else, a run looks at everything; it is no part of an issue.
"""

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from pipeline.files.regular import read_note
from pipeline.issue.folder.durable import put
from pipeline.issue.folder.plain_names import is_plain_link

NAME = ".confirmed"

#: What a file system says of a file: its size and the time of its last change.
Signs = tuple[int, int]


@dataclass(frozen=True)
class Glanced:
    """What a glance compares: the sum of what was seen, the record's own, and the folders that had grids; "": nothing.

    It is noted for a record that was read whole.
    """

    seen: str = ""
    record: str = ""
    looked: tuple[str, ...] = ()


@dataclass(frozen=True)
class Confirmed:
    """The sum of everything at hand, None where there is none for the issue, and the signs of the issue's files."""

    at_hand: str | None = None
    signs: Mapping[str, Signs] = field(default_factory=dict)
    glanced: Glanced = Glanced()


def confirmed(folder: Path, issue: int) -> Confirmed:
    """Return what was noted for an issue; nothing where there is no note, or it is another issue's."""
    noted = newest_confirmed(folder)
    return noted[1] if noted is not None and noted[0] == issue else Confirmed()


def newest_confirmed(folder: Path) -> tuple[int, Confirmed] | None:
    """Return the number of the issue for which there is a note, and the note; None where there is none."""
    try:
        noted = json.loads(read_note(folder / NAME))
        signs = {str(name): (int(size), int(time)) for name, (size, time) in noted.get("signs", {}).items()}
        at_a_glance = noted.get("glanced", {"seen": "", "record": "", "looked": ()})
        looked = tuple(map(str, at_a_glance["looked"]))
        glanced = Glanced(str(at_a_glance["seen"]), str(at_a_glance["record"]), looked)
        return int(noted["issue"]), Confirmed(str(noted["at_hand"]), signs, glanced)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def confirm(folder: Path, issue: int, at_hand: str, signs: Mapping[str, Signs], glanced: Glanced) -> None:
    """Note the sums for an issue and the signs of its files, in one step; where the disk refuses, there is no note."""
    said = json.dumps({"issue": issue, "at_hand": at_hand, "signs": signs, "glanced": asdict(glanced)})
    with suppress(OSError):
        put(folder, NAME, f"{said}\n".encode(), synced=False)


def signs_of(issue: Path) -> dict[str, Signs]:
    """Return the signs of everything in an issue's folder but what readers alone touch, and links. Raises OSError."""
    files = (path for path in issue.iterdir() if not path.name.endswith("-shm") and not is_plain_link(path))
    at = {path.name: path.stat() for path in files}
    return {name: (found.st_size, found.st_mtime_ns) for name, found in at.items()}
