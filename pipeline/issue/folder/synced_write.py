"""Files and folders made certain on the disk, so that a rename after it shows all of a thing or nothing."""

import os
from pathlib import Path

from pipeline.files.atomic_write import atomic_write
from pipeline.files.shared_rights import share
from pipeline.issue.folder.folder_names import scratch

_BLOCK = 1 << 20


def sync(path: Path) -> None:
    """Wait until a file, or a folder's list of names, is on the disk.

    Raises OSError. Where folders cannot be opened (Windows) their names are left to the file system.
    """
    if path.is_dir() and os.name == "nt":
        return
    # A file must be open for writing to be synced on Windows.
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """Make a folder where it is missing, with those that it lies in, each certain on the disk. Raises OSError."""
    missing = [place for place in (folder, *folder.parents) if not os.path.lexists(place)]
    folder.mkdir(parents=True, exist_ok=True)
    for place in reversed(missing):
        share(place)
        sync(place.parent)


def sync_tree(folder: Path) -> None:
    """Wait until everything under ``folder``, and the folder itself, is on the disk. Raises OSError."""
    for place, _, files in os.walk(folder, topdown=False):
        for name in files:
            if not os.path.islink(os.path.join(place, name)):  # what it leads to is among them
                sync(Path(place, name))
        sync(Path(place))


def write_synced(path: Path, content: bytes) -> None:
    """Write a new file and wait until it is on the disk. Raises OSError, FileExistsError where there is one already."""
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def replace_synced(folder: Path, name: str, content: bytes, *, synced: bool = True) -> None:
    """Let a file of ours hold ``content``, in one step: before it or after it, never a part. Raises OSError.

    Not ``synced``: a note that nobody misses after a power cut is not waited for.
    """
    with atomic_write(folder / name, folder / scratch(name)) as fresh:
        if synced:
            write_synced(fresh, content)
        else:
            fresh.write_bytes(content)
        share(fresh)


def has_room(path: Path, size: int) -> None:
    """Let a file that is not needed any more grow to ``size`` bytes and a little more.

    Raises OSError where the disk, a quota or a limit does not let it.
    """
    with path.open("ab") as file:
        while file.tell() < size:
            file.write(bytes(_BLOCK))
        file.write(bytes(_BLOCK))
        file.flush()
        os.fsync(file.fileno())
