"""The marker of a job's folder: it is ours, and whose. What lies in a folder without it is not touched."""

import json
import os
from pathlib import Path

from msgspec import Struct

from pipeline.files.regular_files import read_note
from pipeline.issue.folder.folder_names import MARKER
from pipeline.issue.folder.synced_write import replace_synced, sync
from pipeline.problems import JobError, Problem

#: The form of the marker; a later version of the program may write a later one.
FORMAT = 1

_OURS = "tiedown"


class Marker(Struct, frozen=True):
    """Whose a folder is: the job's name, and its job file as a path from the folder (absolute on another drive)."""

    job: str
    job_file: str

    @classmethod
    def from_paths(cls, folder: Path, job: str, job_file: Path) -> "Marker":
        """Return the marker of a folder that a job file names."""
        at = os.path.realpath(job_file)
        try:
            return cls(job, Path(os.path.relpath(at, os.path.realpath(folder))).as_posix())
        except ValueError:
            return cls(job, Path(at).as_posix())

    def path(self, folder: Path) -> Path:
        """Return where the job file lay when it was last run."""
        return Path(os.path.normpath(Path(os.path.realpath(folder), self.job_file)))


def read_marker(folder: Path) -> Marker | None:
    """Return the marker of a folder, None where it has none. Raises `JobError` for one that cannot be read."""
    path = folder / MARKER
    if not os.path.lexists(path):
        return None
    try:
        said = json.loads(read_note(path))
        if said["written_by"] != _OURS or not isinstance(said["format"], int):
            raise ValueError
        if said["format"] > FORMAT:
            what, fix = f"was written by a later version (format {said['format']})", "run that version of tiedown"
            raise JobError([Problem(str(path), 0, what, fix)])
        return Marker(str(said["job"]), str(said["job_file"]))
    except PermissionError as error:
        what, fix = f"cannot be read: {error.strerror}", "check its permissions"
        raise JobError([Problem(str(path), 0, what, fix)]) from error
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        what = "is not the marker that tiedown keeps under this name, or is damaged"
        fix = "if it is damaged, delete it (the next run writes a new one); else name another folder under [job] folder"
        raise JobError([Problem(str(path), 0, what, fix)]) from None


def write_marker(folder: Path, marker: Marker) -> None:
    """Mark a folder, in one step. Raises OSError."""
    said = {"format": FORMAT, "written_by": _OURS, "job": marker.job, "job_file": marker.job_file}
    replace_synced(folder, MARKER, (json.dumps(said, indent=2) + "\n").encode())
    sync(folder)
