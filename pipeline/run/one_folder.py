"""Refuses jobs of one batch that name the same folder, except for the one that owns it."""

import os
from collections.abc import Sequence
from pathlib import Path

from pipeline.issue.folder.marker import read_marker
from pipeline.job.named_folder import folder_named
from pipeline.problems import JobError, Problem


def sharing(jobs: Sequence[Path]) -> dict[Path, JobError]:
    """Return the jobs of a batch that are refused since another one of it names the same folder for its issues.

    The folder is that job's whose it was before, else that of the first that names it: which of several processes came
    first would be chance.
    """
    by_folder: dict[str, list[Path]] = {}
    for job in jobs:
        if (folder := _folder(job)) is not None:
            by_folder.setdefault(os.path.normcase(folder), []).append(job)
    refused = {}
    for folder_name, those in by_folder.items():
        keeper = _keeper(Path(folder_name), those)
        for job in those:
            if job is not keeper:
                what = f"its folder for issues, {folder_name}, is also that of {keeper}"
                refused[job] = JobError([Problem(str(job), 0, what, "name a different folder in [job] folder")])
    return refused


def _folder(job: Path) -> Path | None:
    try:
        return folder_named(job)
    except (OSError, ValueError):
        return None  # running it says what is wrong


def _keeper(folder: Path, jobs: Sequence[Path]) -> Path:
    try:
        marker = read_marker(folder)
    except JobError:
        marker = None
    its_own = marker.path(folder) if marker is not None else None
    return next((job for job in jobs if its_own == Path(os.path.realpath(job))), jobs[0])
