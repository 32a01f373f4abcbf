"""How the paths of a job file are resolved against its folder, and shown."""

import os
from pathlib import Path


def resolve(folder: Path, path: Path) -> Path:
    """Return a path of a job file in ``folder``, links followed."""
    return Path(os.path.realpath(folder / path))


def shown_path(path: Path, job_file: Path, shown: str) -> str:
    """Return a path as it is best shown where the job file is ``shown``: reached the way the user reached that."""
    try:
        from_job = os.path.relpath(path, job_file.parent.resolve())
    except ValueError:  # another drive
        return str(path)
    return os.path.normpath(os.path.join(os.path.dirname(shown), from_job))
