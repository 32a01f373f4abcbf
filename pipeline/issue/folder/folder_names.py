"""The names that a job's folder has of ours, and the exact forms by which what was laid beside is known again."""

import os
import re
import secrets
from datetime import UTC, datetime
from pathlib import Path

ISSUES = "issues"
LOCK = ".lock"
MARKER = ".tiedown.json"
SET_ASIDE = "set-aside"

STAGING = ".staging-"

_NUMBER = re.compile(r"[0-9]{3,}")
#: Behind an issue's number in the name of what was set aside: when it was.
_ASIDE, _MOMENT = re.compile(r"[0-9]{3,}-([0-9]{8}T[0-9]{6}Z)"), "%Y%m%dT%H%M%SZ"
#: What a run lays beside: `scratch`, alone or with the name of what it becomes.
_SCRATCH = re.compile(r"\.staging-[0-9]+-[0-9a-f]{8}(-[a-z.-]+)?|\.staging-[0-9]+(\.confirmed|-runs\.log)")
#: The one that a run lays down before the folder has its marker.
_UNMARKED = re.compile(rf"\.staging-[0-9]+-[0-9a-f]{{8}}-{re.escape(MARKER)}")


def scratch(becomes: str = "") -> str:
    """Return a name that nothing has yet, for what is laid beside before it becomes ``becomes``."""
    name = f"{STAGING}{os.getpid()}-{secrets.token_hex(4)}"
    return f"{name}-{becomes}" if becomes else name


def is_number(name: str) -> bool:
    """Say whether a name is that of an issue's folder."""
    return _NUMBER.fullmatch(name) is not None


def is_scratch(name: str) -> bool:
    """Say whether a name is one that `scratch` gives, to the letter: only what has such a name is ever swept."""
    return _SCRATCH.fullmatch(name) is not None


def is_unmarked_scratch(name: str) -> bool:
    """Say whether a name is that of a marker in the making, the only scratch in a folder without a marker."""
    return _UNMARKED.fullmatch(name) is not None


def numbered(folder: Path) -> list[tuple[int, Path]]:
    """Return number and folder of everything that stands where issues do, whole or not, in no order."""
    try:
        entries = list((folder / ISSUES).iterdir())
    except (FileNotFoundError, NotADirectoryError):
        return []
    return [(int(path.name), path) for path in entries if is_number(path.name)]


def set_aside(folder: Path) -> dict[int, Path]:
    """Return the issues that were set aside, by number, each with the last folder that it was moved to."""
    try:
        names = sorted(path.name for path in (folder / SET_ASIDE).iterdir())
    except (FileNotFoundError, NotADirectoryError):
        return {}
    parts = ((name.partition("-")[0], name) for name in names)
    return {int(number): folder / SET_ASIDE / name for number, name in parts if is_number(number)}


def name_aside(number: int, at: datetime) -> str:
    """Return the name under which an issue is kept that is set aside at a moment, in UTC."""
    return f"{number:03d}-{at:{_MOMENT}}"


def when_set_aside(path: Path) -> datetime | None:
    """Return when an issue was set aside, by the name under which it is kept; None where the name does not say."""
    if (at := _ASIDE.match(path.name)) is None:
        return None
    try:
        return datetime.strptime(at[1], _MOMENT).replace(tzinfo=UTC)
    except ValueError:
        return None
