"""Atomic file write: written under a temporary name in the same folder, then renamed."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from pipeline.files.shared_rights import take_rights


@contextmanager
def atomic_write(path: Path, fresh: Path) -> Iterator[Path]:
    """Let a file be what is written to ``fresh``, which lies beside it: all of it, or as it was where that fails.

    It keeps the rights of the file that was there (see `take_rights`).

    Yields ``fresh``; what is left of it after a failure is removed. Raises OSError.
    """
    try:
        yield fresh
        take_rights(fresh, path)
        os.replace(fresh, path)
    except BaseException:
        with suppress(OSError):
            fresh.unlink()
        raise
