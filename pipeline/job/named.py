"""What a job file says of itself although it may be wrong: for a run that has been refused, and must be told of."""

import stat
import tomllib
from pathlib import Path

#: No job file that a person writes is larger.
_LARGEST = 4 << 20


def named(path: Path) -> tuple[str, Path] | None:
    """Return the name of a job and its folder, None where its file does not say them, or is none."""
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode) or about.st_size > _LARGEST:
            return None
        section = tomllib.loads(path.read_text(encoding="utf-8-sig")).get("job")
        if not isinstance(section, dict):
            return None
        name, folder = section.get("name"), section.get("folder")
        return (name, path.absolute().parent / folder) if isinstance(name, str) and isinstance(folder, str) else None
    except (OSError, ValueError, RecursionError):
        return None
