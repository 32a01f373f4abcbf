"""Whether a job's folder lies so deep that SQLite could not open its GeoPackages: no change to the disk mends that."""

import os
from pathlib import Path

from pipeline.issue.folder.folder_names import STAGING

#: Bytes of the longest path that SQLite opens on systems other than Windows, where it keeps room for that of a journal
#: beside it: MAX_PATHNAME in its os_unix.c, which builds of it leave as it is.
_LONGEST = 512 - len("-journal")
#: The longest name that `folder_names.scratch` gives, on a system whose processes have seven digits.
_STAGING = f"{STAGING}{'9' * 7}-{'f' * 8}"


def path_too_long(folder: Path, job: str) -> tuple[str, str] | None:
    """Return what is wrong with a job's folder, links resolved, as a place of GeoPackages, and what to do; else None.

    A name has up to four bytes for each sign beyond plain letters and figures.
    """
    if os.name != "posix":
        return None
    length = len(os.fsencode(folder / _STAGING / f"{job}-001.gpkg"))
    if length <= _LONGEST:
        return None
    text = str(folder)
    signs = "" if len(os.fsencode(text)) == len(text) else f" ({len(text)} signs)"
    what = (
        f"the folder's path is too long for a GeoPackage in it: {len(os.fsencode(text))} bytes{signs}, and"
        f" {length - _LONGEST} fewer would do"
    )
    return what, "shorten its name or those of the folders above it, or keep the issues nearer to the top: [job] folder"
