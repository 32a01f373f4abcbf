"""The sum by which a file is known again."""

import hashlib
from pathlib import Path


def digest(path: Path) -> str:
    """Return the SHA-256 of the file's bytes in hexadecimal. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
