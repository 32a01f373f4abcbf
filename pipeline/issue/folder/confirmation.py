"""What was at hand when the newest issue was made or last found unchanged: a note of this machine, beside the issues.

It only saves time. Where it is missing, or says something else, a run looks at everything; it is no part of an issue.
"""

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from pipeline.files.regular_files import read_note
from pipeline.files.unlocked_database import BESIDE
from pipeline.issue.folder.current import NAME as CURRENT
from pipeline.issue.folder.plain_names import is_plain_link
from pipeline.issue.folder.synced_write import replace_synced

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
    """The sum of everything at hand, None where there is none for the issue, and the signs of the issue's files.

    ``signs`` are those of `all_signs`, ``notes`` those that the job has by now and the issue's record does not,
    ``beside`` such notes on files that lie beside those of the job, which come and go while it stays as it is.
    """

    at_hand: str | None = None
    signs: Mapping[str, Signs] = field(default_factory=dict)
    glanced: Glanced = Glanced()
    notes: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()


def confirmed(folder: Path, issue: int) -> Confirmed:
    """Return what was noted for an issue; nothing where there is no note, or it is another issue's."""
    noted = newest_confirmed(folder)
    return noted[1] if noted is not None and noted[0] == issue else Confirmed()


def newest_confirmed(folder: Path) -> tuple[int, Confirmed] | None:
    """Return the number of the issue for which there is a note, and the note; None where there is none."""
    try:
        noted = json.loads(read_note(folder / NAME))
        # what noted no more than the issue's own files had not looked at what stands for them
        told = noted.get("signs", {}) if noted.get("all_names") else {}
        signs = {str(name): (int(size), int(time)) for name, (size, time) in told.items()}
        at_a_glance = noted.get("glanced", {"seen": "", "record": "", "looked": ()})
        looked = tuple(map(str, at_a_glance["looked"]))
        glanced = Glanced(str(at_a_glance["seen"]), str(at_a_glance["record"]), looked)
        notes, beside = (tuple(map(str, noted.get(key, ()))) for key in ("notes", "beside"))
        return int(noted["issue"]), Confirmed(str(noted["at_hand"]), signs, glanced, notes, beside)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def confirm(folder: Path, issue: int, found: Confirmed) -> None:
    """Note what was found of an issue, in one step; where the disk refuses, there is no note."""
    said = json.dumps({"issue": issue, "all_names": True, **asdict(found)})
    with suppress(OSError):
        replace_synced(folder, NAME, f"{said}\n".encode(), synced=False)


def signs_of(issue: Path) -> dict[str, Signs]:
    """Return the signs of everything in an issue's folder but what readers alone touch, and links. Raises OSError."""
    files = (path for path in issue.iterdir() if not path.name.endswith("-shm") and not is_plain_link(path))
    at = {path.name: path.stat() if path.exists() else path.lstat() for path in files}  # a link may lead nowhere
    return {name: (found.st_size, found.st_mtime_ns) for name, found in at.items()}


def all_signs(folder: Path, issue: Path) -> dict[str, Signs]:
    """Return the signs of an issue's files, and those of ``current`` where that is no link, its name before theirs.

    Raises OSError.
    """
    copy = folder / CURRENT
    there = copy.is_dir() and not copy.is_symlink()
    return signs_of(issue) | ({f"{CURRENT}/{name}": of for name, of in signs_of(copy).items()} if there else {})


def as_noted(name: str, signs: Mapping[str, Signs], noted: Mapping[str, Signs]) -> bool:
    """Say whether a file, and what a database has beside it, has the signs that were noted."""
    beside = [f"{name}{ending}" for ending in BESIDE if f"{name}{ending}" in signs]
    return all(one in signs and noted.get(one) == signs[one] for one in (name, *beside))
