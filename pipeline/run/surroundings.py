"""Checksum of everything around a job that affects its result, without opening grids or loading libraries.

Whatever a job file may name is looked for by name: each text in it that names a file from its folder counts with what
that file holds, whichever key it stands under. The sum may differ where no result would; it is never the same where
one would differ.
"""

import hashlib
import json
import os
import sys
import zoneinfo
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pipeline import limits
from pipeline.digest import digest, modules
from pipeline.files.file_patterns import Closed, TooMany
from pipeline.files.regular_files import read_whole
from pipeline.job.named_folder import as_written
from pipeline.run.listing import listing
from pipeline.sealed import grid_folders

#: What grids are files of: known by their signs, since they may be large.
_GRIDS = (".tif", ".tiff", ".gtx", ".gsb", ".byn")
#: What else PROJ reads where it looks for grids; its cache of the network it does not.
_BESIDE, _CACHE = (".json", ".db"), "cache.db"
#: Where PROJ's folder of the user's own lies follows from these.
_HOMES = ("HOME", "XDG_DATA_HOME", "LOCALAPPDATA", "APPDATA", "PROJ_USER_WRITABLE_DIRECTORY")
#: Libraries that shape results: their folders change when they do.
_LIBRARIES = ("numpy", "pyarrow", "pydantic", "pyproj")

#: What tells a raw file from others: its block, its path as found and with links resolved, and its sum.
RawFile = tuple[int, str, str, str]


def surroundings(path: Path, looked: Sequence[str]) -> str:
    """Return the sum of what there is around a job but its raw files; "" where that cannot be looked at.

    Args:
        path: the job file.
        looked: the folders where PROJ looks for grids.
    """
    try:
        data = read_whole(path, limits.JOB_FILE)
        folder = path.absolute().parent
        return _sum(
            [
                [str(path.absolute()), os.path.realpath(path), hashlib.sha256(data).hexdigest()],
                [_named(folder, text) for text in _texts(_without_patterns(as_written(data)))],
                listing(path, as_written(data)),
                [[place, *_grids(place)] for place in looked],
                [os.path.abspath(os.path.expanduser(place)) for place in _places_of_grids()],
                [os.environ.get(name) for name in _HOMES],
                _program(),
                _zones(),
            ]
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError, TooMany, Closed):
        return ""


def _places_of_grids() -> list[str]:
    """Return the folders of grids that the user names; of none nothing, for "" would be the working folder."""
    return grid_folders().split(os.pathsep) if grid_folders() else []


def seen(around: str, raw_files: Iterable[RawFile]) -> str:
    """Return the sum of a job's surroundings with its raw files; "" where there is none of those."""
    return _sum([around, sorted(set(raw_files))]) if around else ""


def _without_patterns(raw: Mapping[str, Any]) -> dict[str, Any]:
    """Return a job file without the patterns of its raw files, which `seen` adds, and what reaches no issue."""
    blocks, raw = raw.get("points"), {key: table for key, table in raw.items() if key != "notify"}
    if not isinstance(blocks, list):
        return raw
    bare = [{key: value for key, value in block.items() if key != "files"} for block in blocks]
    return {**raw, "points": bare}


def _texts(value: Any) -> Iterator[str]:
    """Yield every text in a job file, in its order."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _texts(inner)


def _named(folder: Path, text: str) -> list[Any]:
    """Return what is known of the file that a text names from the job file's folder, nothing where there is none."""
    if "\0" in text:
        return []
    text = text.strip()
    first = os.path.normpath(text).partition(os.sep)[0]
    if ".." not in text and not os.path.lexists(os.path.join(folder, first)):  # mostly: no link has to be followed
        return []
    named = os.path.realpath(os.path.join(folder, text))  # as a run takes it: "gone/../marks.csv" is there too
    if not os.path.isfile(named):
        return []
    path = Path(named)
    return [str(path), _signs(path) if path.suffix.lower() in _GRIDS else digest(path), _logs(path)]


def _logs(path: Path) -> list[list[int]]:
    """Return the signs of what a database has beside it that is not yet in it."""
    beside = [path.with_name(f"{path.name}{ending}") for ending in ("-wal", "-journal")]
    return [_signs(one) for one in beside if os.path.lexists(one)]


def _grids(folder: str) -> list[Any]:
    """Return names and signs of the files in a folder that PROJ may choose from."""
    if not os.path.isdir(folder):
        return []
    there = sorted(Path(folder).iterdir())
    kept = [path for path in there if path.suffix.lower() in (*_GRIDS, *_BESIDE) and path.name != _CACHE]
    return [[path.name, *_signs(path)] for path in kept if path.is_file()]


@cache
def _program() -> str:
    """Return the sum of the signs of the program that runs: of its modules, and of the folders of libraries."""
    own = [[file, *_signs(file)] for file in modules()]
    found = [find_spec(name) for name in _LIBRARIES]
    packages = [Path(spec.origin).parent for spec in found if spec is not None and spec.origin is not None]
    places = sorted({*packages, *(package.parent for package in packages)})
    return _sum([sys.version, own, [[str(place), place.stat().st_mtime_ns] for place in places]])


def _zones() -> list[Any]:
    """Return the signs of the folders of time zones, which are written again when the zones are."""
    return [[folder, *_folders(folder)] for folder in zoneinfo.TZPATH if os.path.isdir(folder)]


def _folders(folder: str) -> list[Any]:
    with os.scandir(folder) as there:
        return sorted([each.name, each.stat().st_mtime_ns] for each in there if each.is_dir() or "." in each.name)


def _signs(path: str | Path) -> list[int]:
    """Return the signs of a file. Raises OSError."""
    at = os.stat(path)
    return [at.st_ino, at.st_size, at.st_mtime_ns, at.st_ctime_ns]


def _sum(part: Any) -> str:
    return hashlib.sha256(json.dumps(part).encode()).hexdigest()
