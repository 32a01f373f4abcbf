"""Finds folders that are marked as a job's: that of a job file that cannot be read, and one that was renamed."""

import os
import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from pipeline import limits
from pipeline.files.regular_files import read_whole
from pipeline.issue.folder.folder_names import numbered
from pipeline.issue.folder.marker import read_marker
from pipeline.issue.folder.ownership import Owner
from pipeline.problems import JobError

#: The line of a job file that names the folder, in text that need not be TOML.
_FOLDER = re.compile(r"""^\s*(?:job\.)?folder\s*=\s*["']([^"'\r\n\0]+)["']""", re.MULTILINE)
#: So many folders are looked at, the nearest first.
_MOST = 2_000


def find_marked(job: Path) -> Path | None:
    """Return the folder of issues that was last run from a job file, None where none is known near it.

    It is the one that the text of the job file names, or lies up to two levels below the job file's folder or the one
    above; its marker names the job file. The job file itself may be empty, closed, or gone.
    """
    at = Path(os.path.realpath(job))
    for folder in _near(job.absolute()):
        with suppress(JobError, OSError, ValueError):
            if (marker := read_marker(folder)) is not None and marker.path(folder) == at:
                return folder
    return None


def kept_elsewhere(folder: Path, owner: Owner) -> list[tuple[Path, int]]:
    """Return other folders with issues of a job, beside its own or beside its job file, and how many each has.

    Their marker names the job and its job file, or one that is not there any more. A job of that name whose own file
    still exists is another.
    """
    own, job = os.path.realpath(folder), os.path.realpath(owner.file)
    found: dict[str, tuple[Path, int]] = {}
    for above in dict.fromkeys((os.path.dirname(own), os.path.dirname(job))):
        for other in _folders_in(Path(above))[:_MOST]:
            if (real := os.path.realpath(other)) in (own, *found):
                continue
            with suppress(JobError, OSError, ValueError):
                marker = read_marker(other)
                if marker is None or marker.job != owner.job:
                    continue
                file = marker.path(other)
                if (str(file) == job or not os.path.lexists(file)) and (issues := len(numbered(other))):
                    found[real] = other, issues
    return list(found.values())


def _near(job: Path) -> Iterator[Path]:
    """Yield the folders in which the issues of a job file may lie, those of the tree once each."""
    with suppress(OSError, ValueError):
        text = read_whole(job, limits.JOB_FILE).decode("utf-8", "replace")
        yield from (Path(os.path.realpath(job.parent / named)) for named in _FOLDER.findall(text))
    levels = [job.parent], [job.parent.parent]
    yield job.parent
    left = _MOST
    for level in levels * 2:
        below = [folder for above in level for folder in _folders_in(above) if folder != job.parent][:left]
        left -= len(below)
        yield from below
        level[:] = below


def _folders_in(folder: Path) -> list[Path]:
    """Return the folders in one, in the order of their names; none of one that cannot be looked into."""
    try:
        with os.scandir(folder) as entries:
            names = sorted(one.name for one in entries if one.is_dir(follow_symlinks=False))
    except OSError:
        return []
    return [folder / name for name in names if not name.startswith(".")]
