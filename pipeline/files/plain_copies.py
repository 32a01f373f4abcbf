"""Copies of files and folders, with their times and rights where the file system keeps such and lets them be set."""

import os
import shutil
from contextlib import suppress
from pathlib import Path


def copy_file(source: Path, copy: Path) -> None:
    """Copy a file, or what a link leads to. Raises OSError where its content cannot be copied."""
    shutil.copyfile(source, copy)
    _take_times_and_rights(source, copy)


def copy_folder(source: Path, copy: Path) -> None:
    """Copy a folder, which must not be there yet, likewise with all that is in it. Raises OSError."""
    copy.mkdir()
    for name in sorted(os.listdir(source)):
        copy_one = copy_folder if (source / name).is_dir() else copy_file
        copy_one(source / name, copy / name)
    _take_times_and_rights(source, copy)


def _take_times_and_rights(source: Path, copy: Path) -> None:
    with suppress(OSError):  # a share of another system may refuse both, whoever asks
        shutil.copystat(source, copy)
