"""Folders in which more exports of a job may lie than its patterns name: one deeper, and among those of days.

A pattern such as `raw/*` names files alone: what was laid into `raw/day4/` is read by nothing. Nor is `raw/day4/` where
`raw/day1/*` and `raw/day2/*` are listed.
"""

import os
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from itertools import islice
from pathlib import Path

from pipeline.files.called_old import is_put_away
from pipeline.limits import LOOKED_AT

#: Folders beside those of exports that are looked into, and entries of each. Ours, no source.
_FOLDERS, ENTRIES = 24, 200
#: A folder's exports, and another's beside it: folders of days, or of rovers.
_SIBLINGS = 2


def folders_around(folders: Iterable[str], is_kept: Callable[[Path], bool]) -> dict[str, str]:
    """Return the folders around those of exports, each with the one of exports that it is told of.

    Left out are hidden ones, those called old, those that ``is_kept`` says of (links resolved) that runs write them,
    and those with a job file, whose exports they have. What cannot be looked at has none.

    Args:
        folders: those of exports, links resolved.
        is_kept: as `ownership.find_folders_kept`.
    """
    known = dict.fromkeys(folders)
    above = Counter(os.path.dirname(folder) for folder in known)
    places = {folder: folder for folder in known}
    places |= {
        os.path.dirname(folder): folder
        for folder in reversed(known)
        if above[os.path.dirname(folder)] >= _SIBLINGS and os.path.dirname(folder) not in known
    }
    found: dict[str, str] = {}
    for place, of in places.items():
        for folder in _inside(place):
            if folder not in known and not is_kept(Path(folder)) and not _has_job(folder):
                found.setdefault(folder, of)
    return found


def _inside(folder: str) -> list[str]:
    with suppress(OSError), os.scandir(folder) as there:
        inner = [
            each.path
            for each in islice(there, LOOKED_AT)
            if each.is_dir(follow_symlinks=False) and not each.name.startswith(".") and not is_put_away(each.name)
        ]
        return sorted(inner)[:_FOLDERS]
    return []


def _has_job(folder: str) -> bool:
    with suppress(OSError), os.scandir(folder) as there:
        return any(each.name.endswith(".toml") for each in islice(there, ENTRIES))
    return True
