"""Rights of what is written where several people work: whoever runs a job, and whatever their umask, others go on.

Nothing gets wider than by the umask of who writes it, but for what the folder that it lies in allows as well.
"""

import os
import stat
from contextlib import suppress
from pathlib import Path

#: What a file may be of a folder's rights: reading and writing, for the group.
_GROUP = stat.S_IRGRP | stat.S_IWGRP
#: What others than its owner need to look into a folder.
_OTHERS_READ = stat.S_IRGRP | stat.S_IXGRP | stat.S_IROTH | stat.S_IXOTH


def share(path: Path, folder: Path | None = None) -> None:
    """Give a new file or folder of ours the rights of its group that the folder has which it lies in, or will.

    Only where that folder is shared by a group: it hands its group on to what is made in it (setgid). Where the system
    does not let it, the rights stay as they are.
    """
    with suppress(OSError):
        about = os.lstat(path)
        _set(path, about, about.st_mode | _of_group(about, os.stat(folder or path.parent)))


def share_tree(place: Path, folder: Path) -> None:
    """Do the same with a new folder and all that is in it, which ``folder`` is to have."""
    share(place, folder)
    for within, folders, files in os.walk(place):
        for name in (*folders, *files):
            share(Path(within, name))


def take_rights(fresh: Path, path: Path) -> None:
    """Give a file of ours the group and the rights of the one that it is about to replace, where there is one."""
    with suppress(OSError):
        before, folder = os.lstat(path), os.stat(path.parent)
        if not stat.S_ISREG(before.st_mode):
            return
        if before.st_gid != os.lstat(fresh).st_gid:
            os.chown(fresh, -1, before.st_gid)  # refused to who is not of the group, and the rights stay as they are
        made = os.lstat(fresh)
        kept = before.st_mode & (made.st_mode | folder.st_mode)
        _set(fresh, made, kept | _of_group(made, folder))


def is_narrower(fresh: Path, before: Path) -> bool:
    """Say whether a folder may be looked into by fewer people than the one before it. Raises OSError."""
    return bool(_OTHERS_READ & os.stat(before).st_mode & ~os.stat(fresh).st_mode)


def _of_group(about: os.stat_result, folder: os.stat_result) -> int:
    """Return which rights of the group a folder gives to what lies in it; none where no group shares it."""
    if not folder.st_mode & stat.S_ISGID or about.st_gid != folder.st_gid:
        return 0
    return folder.st_mode & (stat.S_IRWXG if stat.S_ISDIR(about.st_mode) else _GROUP)


def _set(path: Path, about: os.stat_result, mode: int) -> None:
    wanted = stat.S_IMODE(mode)
    if wanted != stat.S_IMODE(about.st_mode) and not stat.S_ISLNK(about.st_mode):
        path.chmod(wanted)
