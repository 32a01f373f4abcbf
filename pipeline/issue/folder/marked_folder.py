"""Finds the folder of a job whose file does not say it any more: that which is marked as the job file's, near it."""

import os
import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from pipeline import limits
from pipeline.files.regular_files import read_whole
from pipeline.issue.folder.marker import read_marker
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
