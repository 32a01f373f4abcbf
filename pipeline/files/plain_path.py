"""A file or folder under a name that GDAL's readers and writers take for a path and nothing else.

pyogrio takes "!", ";", "?" and "zip://" in a name for an address within an archive or on the web, and so opens another
file. Where a path has anything but letters, digits and the plainest signs, a link to it in a folder of its own is used.
"""

import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: What no reader takes for anything but a name; "//" and ".zip" within a path are not plain.
_PLAIN = re.compile(r"/?[\w.+=@~ -]+(/[\w.+=@~ -]+)*")
_ARCHIVE = re.compile(r"\.(zip|tar|tgz|gz|7z|rar)\b", re.IGNORECASE)


@contextmanager
def plain_file(path: Path) -> Iterator[Path]:
    """Yield a plain path to a file that is to be read. Raises OSError."""
    absolute = Path(os.path.abspath(path))
    if is_plain(absolute):
        yield absolute
        return
    with _plain_scratch() as scratch:
        link = Path(scratch, "file" + (absolute.suffix if is_plain(Path(absolute.suffix)) else ""))
        try:
            link.symlink_to(absolute)
        except (OSError, NotImplementedError):  # a system or a user without links
            shutil.copyfile(absolute, link)
        yield link


@contextmanager
def plain_folder(folder: Path) -> Iterator[Path]:
    """Yield a plain path to a folder in which files with plain names are to be written. Raises OSError."""
    absolute = Path(os.path.abspath(folder))
    if is_plain(absolute):
        yield absolute
        return
    with _plain_scratch() as scratch:
        link = Path(scratch, "folder")
        link.symlink_to(absolute, target_is_directory=True)
        yield link


def is_plain(path: Path) -> bool:
    """Whether a path holds nothing that a reader could take for more than a name."""
    if sys.platform == "win32":  # a drive's letter keeps pyogrio from looking for an address
        return ".zip" not in path.name
    text = str(path)
    return _PLAIN.fullmatch(text) is not None and _ARCHIVE.search(text) is None and not text.startswith("/vsi")


@contextmanager
def _plain_scratch() -> Iterator[str]:
    """Yield a folder for a while whose own path is plain."""
    wanted = [tempfile.gettempdir(), "/tmp", "/var/tmp", "/dev/shm"]
    place = next((folder for folder in wanted if is_plain(Path(folder)) and os.access(folder, os.W_OK)), None)
    if place is None:
        raise OSError(
            "there is no folder for temporary files whose path is free of characters such as ! ; ?: set TMPDIR"
        )
    with tempfile.TemporaryDirectory(dir=place) as scratch:
        yield scratch
