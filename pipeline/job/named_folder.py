"""The folder that a job file names for its issues, although nothing else of it may be right."""

import os
import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from pipeline import limits
from pipeline.files.regular_files import read_whole
from pipeline.problems import is_text

#: The beginning of a key or table of dozens of parts.
_DOTTED = re.compile(
    r"""(?:^|[{,])[ \t]*\[{0,2}[ \t]*((?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){40})""", re.MULTILINE
)

#: How a path of Windows begins: with a drive, or with a server.
_OF_WINDOWS = re.compile(r"[A-Za-z]:[\\/]|\\\\")


def of_windows(path: Path) -> bool:
    """Say whether a path is one of Windows, as written, on a system where it would only name a folder oddly."""
    return os.name != "nt" and _OF_WINDOWS.match(str(path)) is not None


def names_folder(path: Path, folder: Path) -> bool:
    """Say whether a job file is there and names a folder for its issues; of one that cannot be read now it may be so.

    Nothing else of the job file needs to be right.
    """
    try:
        named = folder_named(path)
    except FileNotFoundError:
        return False
    except (OSError, ValueError):
        return True
    return named is not None and os.path.normcase(named) == os.path.normcase(os.path.realpath(folder))


def folder_named(path: Path) -> Path | None:
    """Return the folder that a job file names for its issues, links resolved, None where it names none.

    Raises FileNotFoundError where there is no such file, OSError or ValueError where it cannot be read.
    """
    return folder_in(as_written(read_whole(path, limits.JOB_FILE)), path)


def folder_in(raw: Mapping[str, Any], path: Path) -> Path | None:
    """Return the same of a job file of which is known what stands in it."""
    named = raw["job"].get("folder") if isinstance(raw.get("job"), dict) else None
    if not isinstance(named, str) or not is_text(Path(named)):
        return None
    return Path(os.path.realpath(path.absolute().parent / named))


@lru_cache(maxsize=1)
def as_written(data: bytes) -> Mapping[str, Any]:
    """Return what stands in a job file, right or not. Raises ValueError where it is no TOML, or beyond all measure.

    The last one is kept, because a glance at a job that nothing has happened to asks three times; it is not changed.
    """
    text = data.decode("utf-8-sig")
    if long_key(text) is not None:
        raise ValueError("a key has too many parts")
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error


def long_key(text: str) -> re.Match[str] | None:
    """Find a key or table of dozens of parts in a job file, which costs the square of its length to take apart."""
    return _DOTTED.search(text)
