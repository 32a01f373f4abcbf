"""The command that a job file names to be called, although nothing else of it may be right; and may it be called?"""

import os
import stat
from pathlib import Path
from typing import Any

from msgspec import Struct

from pipeline import limits
from pipeline.files.regular_files import read_whole
from pipeline.job.named_folder import as_written

#: Seconds that a command may take unless its job says otherwise, and between which that must lie.
TIME_OF_COMMAND, LEAST_TIME_OF_COMMAND, MOST_TIME_OF_COMMAND = 30.0, 0.1, 3600.0


class Command(Struct, frozen=True):
    """Program and arguments, the folder from which they count, and seconds that it may take.

    ``distrusted`` says why it is not called: others than the user may write what names it.
    """

    words: tuple[str, ...]
    folder: Path
    timeout: float = TIME_OF_COMMAND
    distrusted: str | None = None


def command_named(path: Path) -> Command | None:
    """Return the command that a job file names; None where it names none, or cannot be read.

    Nothing else of the job file needs to be right. One that names none is not taken apart.
    """
    try:
        data = read_whole(path, limits.JOB_FILE)
        if b"notify" not in data:
            return None
        table = as_written(data).get("notify")
        return _command(path, table) if isinstance(table, dict) else None
    except (OSError, ValueError):
        return None


def callers_command(text: str) -> Command:
    """Return the command that whoever starts a run names, taken apart as a shell would. Raises ValueError."""
    import shlex  # no other run needs it

    try:
        folder = Path.cwd()
    except OSError:  # it is gone
        folder = Path(os.sep)
    return Command(tuple(shlex.split(text, posix=os.name == "posix")), folder)


def _command(path: Path, table: dict[str, Any]) -> Command | None:
    words, timeout = table.get("command"), table.get("timeout", TIME_OF_COMMAND)
    if not isinstance(words, list) or not words or not all(isinstance(word, str) and word for word in words):
        return None
    if type(timeout) not in (int, float) or not LEAST_TIME_OF_COMMAND <= timeout <= MOST_TIME_OF_COMMAND:
        return None
    return Command(tuple(words), path.absolute().parent, float(timeout), _distrusted(path))


def _distrusted(path: Path) -> str | None:
    """Say why a job file's command is not called, None where nobody but the user, and the system's own, may write it.

    The command runs with the user's rights, so that whoever may write the job file would have them.
    """
    if os.name != "posix":
        return "the system does not report who may write to the job file"
    about = path.stat()
    if about.st_uid not in (os.geteuid(), 0):
        return f"the job file belongs to {_user(about.st_uid)}"
    if about.st_mode & stat.S_IWOTH:
        return "anyone may write to the job file"
    if about.st_mode & stat.S_IWGRP and not _own_group(about.st_gid):
        return "its group may write to the job file"
    return None


def _user(number: int) -> str:
    import pwd

    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        return f"user {number}"


def _own_group(number: int) -> bool:
    """Say whether a group is the user's own, with nobody else in it, as many systems give one to each."""
    import grp
    import pwd

    try:
        user, group = pwd.getpwuid(os.geteuid()).pw_name, grp.getgrgid(number)
    except KeyError:
        return False
    return group.gr_name == user and set(group.gr_mem) <= {user}
