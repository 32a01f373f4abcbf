"""What lies beside a job's exports and register, by names, sizes and times: what notes on files beside them come from.

Nothing of it shapes an issue, so that a glance would pass over a register laid beside the one that is used. It is
bounded as those notes are, and costs no more than listing the folders in which patterns are looked for.
"""

import os
from collections.abc import Callable, Iterable, Mapping
from itertools import islice
from pathlib import Path
from typing import Any

from pipeline.files.file_patterns import named_by, temporary
from pipeline.files.folders_around import ENTRIES, folders_around
from pipeline.files.table_endings import PACKAGES, TABLES, VECTORS, WORKBOOKS
from pipeline.issue.folder.ownership import find_folders_kept, find_keeper
from pipeline.job.named_folder import folder_in
from pipeline.letter_case import folded
from pipeline.limits import LOOKED_AT

#: Files that are read by notes on what lies beside, of which more than the name counts; others only by their names.
_READ, _NAMED = (*TABLES, *WORKBOOKS, *PACKAGES), (*TABLES, *WORKBOOKS, *PACKAGES, *VECTORS)
#: Files of a folder whose sizes and times count: more than notes look at. Job files beyond which they tell nothing.
_STATED, _JOBS = 100, 40


def listing(path: Path, raw: Mapping[str, Any]) -> list[Any]:
    """Return what lies beside exports and register of a job file, and job files, of ``raw`` what stands in it.

    Raises OSError, and as `named_by`; ValueError, KeyError, TypeError or AttributeError where a job file is none.
    """
    folder, issued = path.absolute().parent, folder_in(raw, path)
    if issued is None:
        return []
    is_kept, control = find_keeper(issued), raw.get("control")
    patterns = (pattern.strip() for block in raw["points"] for pattern in block["files"])
    exports = {os.path.realpath(match) for pattern in patterns for match in named_by(folder, pattern, is_kept)}
    read, places = set(exports), dict.fromkeys(map(os.path.dirname, sorted(exports)))
    register = str(control["file"]).strip() if isinstance(control, Mapping) and "file" in control else ""
    around = folders_around(places, find_folders_kept(issued))
    if register:
        read.add(os.path.realpath(folder / register))
        places[os.path.dirname(os.path.realpath(folder / register))] = None
    jobs = _jobs(str(folder), str(path.absolute()))
    beside = [_listed(place, LOOKED_AT, len(jobs), read, is_kept) for place in places]
    beside += [_listed(place, ENTRIES, len(jobs), read, is_kept) for place in around]
    return [[one for one in beside if one and one[0]], _signs(jobs) if len(jobs) <= _JOBS else []]


def _listed(place: str, most: int, jobs: int, read: set[str], is_kept: Callable[[Path], bool]) -> list[Any]:
    """Return what counts of a folder: nothing of one with so many jobs that nobody knows whose a file there is."""
    try:
        with os.scandir(place) as there:
            found = sorted(each.name for each in islice(there, most) if not each.name.startswith("."))
    except OSError:
        return []
    if jobs + sum(name.endswith(".toml") for name in found) > _JOBS:
        return []
    paths = {os.path.join(place, name): folded(name) for name in found}
    named = {at: name for at, name in paths.items() if name.endswith(_NAMED) or temporary(at)}
    beside = {at: name for at, name in named.items() if at not in read and not is_kept(Path(at))}
    return [list(beside), _signs(islice((at for at, name in beside.items() if name.endswith(_READ)), _STATED))]


def _jobs(folder: str, own: str) -> list[str]:
    """Return the job files of a folder but the job's own, which counts by what it holds."""
    with os.scandir(folder) as there:
        found = (each.path for each in islice(there, LOOKED_AT) if folded(each.name).endswith(".toml"))
        return sorted(path for path in found if path != own)


def _signs(paths: Iterable[str]) -> list[Any]:
    """Return path, size and time of change of each file that can be looked at."""
    return [[path, at.st_size, at.st_mtime_ns] for path in paths if (at := _stat(path)) is not None]


def _stat(path: str) -> os.stat_result | None:
    try:
        return os.stat(path)
    except OSError:
        return None
