"""The order in which files are read: that of their names, but a copy behind its original.

Of readings that are there twice the first stands, and "day (1).csv" sorts before "day.csv".
"""

import re
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

#: How file managers and browsers name a copy, and no surveyor a day.
_BEHIND = re.compile(r"(.+?)(?: \(\d+\)| - (?:Copy|Kopie)(?: \(\d+\))?| \((?:copy|Kopie)(?: \d+)?\)| copy(?: \d+)?)")
_BEFORE = re.compile(r"(?:Copy of|Kopie von) (.+)")


def in_reading_order(files: Mapping[str, Path]) -> list[Path]:
    """Return files in the order of their names as shown, those that are named as copies of another behind that."""

    def place(shown: str) -> tuple[str, bool, str]:
        original = _original(shown, files)
        return original, original != shown, shown

    return [files[shown] for shown in sorted(files, key=place)]


def _original(shown: str, files: Mapping[str, Path]) -> str:
    """Return the one of the files that a name is that of a copy of, of a copy's copy the first; else itself."""
    path = PurePosixPath(shown)
    found = _BEHIND.fullmatch(path.stem) or _BEFORE.fullmatch(path.stem)
    if found is None:
        return shown
    original = str(path.with_name(found[1] + path.suffix)) if found[1].strip(".") else shown
    return _original(original, files) if original in files and original != shown else shown
