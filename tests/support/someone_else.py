"""Another user of the machine: what a superuser's tests do in his name, in a folder that he can reach."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

#: Only a superuser can be somebody else.
needs_superuser = pytest.mark.skipif(not hasattr(os, "seteuid") or os.geteuid() != 0, reason="only as a superuser")

_NOBODY = 65534


@contextmanager
def as_someone_else(umask: int = 0o022) -> Iterator[None]:
    """Give up a superuser's right to write everywhere."""
    before = os.umask(umask)
    superuser = os.geteuid() == 0
    if superuser:
        os.seteuid(_NOBODY)
    try:
        yield
    finally:
        if superuser:
            os.seteuid(0)
        os.umask(before)


@contextmanager
def reachable_folder() -> Iterator[Path]:
    """Yield an empty folder in one that everybody may look into."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        (Path(name) / "shared").mkdir()
        yield Path(name) / "shared"
