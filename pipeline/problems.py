"""One problem of a job, the collector that gathers them, and the one exception that carries them all."""

import errno
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.limits import MESSAGE
from pipeline.replace import replace
from pipeline.words import counted


def told(text: str) -> str:
    """Return a message as it is told: one that is too long without its middle."""
    if len(text) <= MESSAGE:
        return text
    half = MESSAGE // 2
    short = f"{text[:half]} ... ({counted(len(text) - 2 * half, 'character')}) ... {text[-half:]}"
    return short if len(short) < len(text) else text  # what says that some are left out may be longer than they are


@dataclass(frozen=True, order=True)
class Problem:
    """What is wrong, where, and what to do about it.

    ``file`` is shown as the user wrote it; ``line`` counts from 1 (a feature's number where the file has no lines).
    """

    file: str
    line: int
    what: str
    fix: str = ""

    def __post_init__(self) -> None:
        """Cut texts that quote what a file holds without end."""
        for name in ("what", "fix"):
            object.__setattr__(self, name, told(getattr(self, name)))

    def __str__(self) -> str:
        where = self.file if self.line <= 0 else f"{self.file}:{self.line}"
        return f"{where}: {self.what}" + (f" -> {self.fix}" if self.fix else "")


#: What to say of a path that is no text, and what to do.
NOT_TEXT = (
    "the name of the file, or of a folder above it, is not UTF-8 text",
    "rename it, and change what refers to it",
)


def is_text(path: Path) -> bool:
    """Return whether a path is text that records, layers and the libraries that read files can hold.

    On some systems a name may be any bytes; where the system's encoding is a small one, not every text is a name.
    """
    try:
        str(path).encode()
        os.fsencode(path)
    except UnicodeError:
        return False
    return True


class JobError(Exception):
    """The job cannot be run as it stands; ``problems`` lists every reason found."""

    def __init__(self, problems: "list[Problem] | tuple[Problem, ...]") -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class Unfinished(JobError):
    """The issue is written and stands, but what shows it could not be put right."""


class NamedAgain(JobError):
    """A job was named before by the same command, which says what becomes of it there."""


#: What a system refuses of a path as it stands, which no change to the program mends; and what to do about some.
_REFUSALS = {
    *(errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EPERM, errno.EIO, errno.ENOENT),
    *(errno.ENAMETOOLONG, errno.ELOOP, errno.ENOTDIR, errno.EISDIR, errno.EXDEV, errno.ESTALE, errno.ENODEV),
}
_REMEDIES = {
    errno.ENOSPC: "make room on the disk, then try again",
    errno.EDQUOT: "make room on the disk, or ask for a larger quota, then try again",
    errno.EACCES: "check the permissions of it and of the folders above it, then try again",
    errno.EPERM: "check the permissions of it and of the folders above it, then try again",
    errno.ENAMETOOLONG: "shorten its name or those of the folders above it, or move the job nearer to the top",
    errno.ELOOP: "check the links that lead to it: they form a loop",
    errno.EXDEV: "keep all of a job's folder on one file system: name another one under [job] folder",
    errno.ENOENT: "it was there a moment ago: find out who moved or deleted it, then try again",
}


#: What is said in words of ours.
_SAID = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the quota on the disk is used up",
    errno.EFBIG: "no file may grow so large there",
}


def refused(place: "str | Path", what: str, fix: str) -> JobError:
    """Return the refusal of a whole file or folder, as one problem."""
    return JobError([Problem(str(place), 0, what, fix)])


def said_of(error: OSError) -> str:
    """Return in words what the system says of an error, without its number and without a path."""
    return _SAID.get(error.errno or 0) or error.strerror or str(error)


def is_refusal(error: OSError) -> bool:
    """Say whether an error is what the system refuses of a path, rather than a fault in the program."""
    return error.errno in _REFUSALS


def remedy(error: OSError) -> str:
    """Return what to do about what the system refuses."""
    return _REMEDIES.get(error.errno or 0, "check the disk and its permissions, then try again")


def without_folder(path: str | Path) -> Problem | None:
    """Return what is wrong where a path counts from a working folder that is not there; None where it does not."""
    if os.path.isabs(path):
        return None
    try:
        os.getcwd()
    except OSError as error:
        what = f"the working folder, which this path starts from, is not there: {error.strerror}"
        return Problem(str(path), 0, what, "change to a folder that exists")
    return None


def check_working_folder(paths: Iterable[str | Path]) -> None:
    """Raise `JobError` where any of the paths counts from a working folder that is not there."""
    if found := [problem for path in paths if (problem := without_folder(path)) is not None]:
        raise JobError(found)


@contextmanager
def refusals_told() -> Iterator[None]:
    """Turn what the system refuses of a path, wherever that is met, into a `JobError` that names the path."""
    try:
        yield
    except OSError as error:
        if error.filename is None and (lost := without_folder(".")) is not None:
            raise JobError([lost]) from error
        if not is_refusal(error) or error.filename is None:
            raise
        file = os.fsdecode(error.filename) if isinstance(error.filename, str | bytes) else str(error.filename)
        raise JobError([Problem(file, 0, f"cannot be used: {said_of(error)}", remedy(error))]) from error


@contextmanager
def named_in_errors(path: Path) -> Iterator[None]:
    """Let what the system refuses name the file that is written: of an open one it names none, else a draft of it."""
    try:
        yield
    except OSError as error:
        if error.errno is None:
            raise
        raise OSError(error.errno, error.strerror, str(path)) from error


@dataclass
class Problems:
    """Gathers problems so that all of them are reported at once."""

    found: list[Problem] = field(default_factory=list)
    _known: set[Problem] = field(default_factory=set, repr=False, compare=False)

    def add(self, file: "str | Path", line: int, what: str, fix: str = "") -> None:
        """Note one problem; the same one twice is kept once."""
        problem = Problem(str(file), line, what, fix)
        if problem not in self._known:
            self._known.add(problem)
            self.found.append(problem)

    def extend(self, file: str, follows: str) -> None:
        """Say behind the first problem of a file what follows from it; nothing where it has none."""
        for number, problem in enumerate(self.found):
            if problem.file == file:
                fix = f"{problem.fix}; {follows}" if problem.fix else follows
                self.found[number] = replace(problem, fix=fix)
                return

    def raise_if_any(self) -> None:
        """Raise `JobError` with everything gathered so far, if there is anything."""
        if self.found:
            raise JobError(self.found)


class JobHeld(Exception):
    """Another run holds the job; nothing was done."""
