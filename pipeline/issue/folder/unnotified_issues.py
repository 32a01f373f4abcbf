"""Issues of which nobody has been told yet: the run that wrote one notes it before, and strikes it out when it ends.

A kill or a fault between the two leaves the note, and the next run tells of the issue in its place.
"""

import json
from pathlib import Path

from pipeline.files.regular_files import read_note
from pipeline.issue.folder.synced_write import replace_synced

NAME = ".untold"


def read_unnotified(folder: Path) -> list[int]:
    """Return the numbers noted, in their order; none where there is no note, or none that can be read."""
    try:
        noted = json.loads(read_note(folder / NAME))
    except (OSError, ValueError, RecursionError):
        return []
    return [number for number in noted if isinstance(number, int)] if isinstance(noted, list) else []


def note_unnotified(folder: Path, number: int) -> None:
    """Note an issue that is about to appear, beside those noted before. Raises OSError."""
    _write(folder, sorted({*read_unnotified(folder), number}))


def strike_out(folder: Path, newest: int) -> None:
    """Strike out every issue up to one of which somebody was told. Raises OSError."""
    noted = read_unnotified(folder)
    left = [number for number in noted if number > newest]
    if left:
        _write(folder, left)
    elif noted:
        (folder / NAME).unlink(missing_ok=True)


def _write(folder: Path, numbers: list[int]) -> None:
    replace_synced(folder, NAME, (json.dumps(numbers) + "\n").encode())
