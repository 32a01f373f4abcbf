"""States what a worker must see of a job: the same job file, and the same folder beside that of its issues."""

import os
import secrets
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from msgspec import Struct

from pipeline import limits
from pipeline.digest import digest
from pipeline.files.regular_files import read_whole
from pipeline.issue.folder.shared_folder_probe import seen_there, sign
from pipeline.job.named_folder import as_written


class WantedFolder(Struct, frozen=True):
    """A job file with its sum, the folder beside that of its issues, as named, and the name of a sign laid there.

    The paths are absolute. Links in them are for each machine to follow, which is what the sign is for.
    """

    job: str
    sum: str
    beside: str
    sign: str = ""

    @classmethod
    def from_job_file(cls, job: Path) -> "WantedFolder | None":
        """Return what is wanted of a job, None where it cannot be read or names no folder: running it says why."""
        try:
            named = job.parent / as_written(read_whole(job, limits.JOB_FILE))["job"]["folder"]
            return cls(str(job), digest(job), str(next(one for one in named.parents if one.is_dir())))
        except (OSError, ValueError, LookupError, TypeError, StopIteration):
            return None

    def missing(self) -> str:
        """Say what of it is not seen from here, "" where all is."""
        try:
            if digest(Path(self.job)) != self.sum:
                return "the job file has different content there"
        except OSError:
            return "the job file is not visible there"
        if not self.sign or seen_there(self.beside, self.sign):
            return ""
        return f"{self.beside} is a different folder there, or missing"


@contextmanager
def signed_folders(wanted: Iterable[WantedFolder]) -> Iterator[tuple[list[WantedFolder], dict[str, str]]]:
    """Lay a sign into each folder, and take it away again at the end; give what is signed so, and what fails by job."""
    signs: dict[str, str] = {}
    fails: dict[str, str] = {}
    with ExitStack() as stack:
        for beside in dict.fromkeys(one.beside for one in wanted):
            signs[beside] = secrets.token_hex(8)
            try:
                stack.enter_context(sign(beside, signs[beside]))
            except OSError as error:
                fails[beside] = f"{beside} cannot be written: {error.strerror or error}"
        there = [
            WantedFolder(one.job, one.sum, one.beside, signs[one.beside]) for one in wanted if one.beside not in fails
        ]
        yield there, {one.job: fails[one.beside] for one in wanted if one.beside in fails}


def one_of_each(wanted: Iterable[WantedFolder]) -> list[Path]:
    """Return one folder of each file system that jobs are issued to. Raises OSError."""
    found: dict[int, Path] = {}
    for beside in dict.fromkeys(one.beside for one in wanted):
        found.setdefault(os.stat(beside).st_dev, Path(beside))
    return list(found.values())
