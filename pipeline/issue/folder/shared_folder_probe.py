"""Probes a shared folder: are writes, renames and locks of one machine visible on the others?

One side lays a folder down in it, holds a lock there and asks the other; both look at what the other did. What runs
promise (one at a time, an issue whole or absent) depends on just that.
"""

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout
from msgspec import Struct

from pipeline.files.regular_files import read_note
from pipeline.issue.folder.folder_names import LOCK
from pipeline.issue.folder.synced_write import sync, write_synced

_NAME = ".tiedown-tried-"
_HERE, _FRESH, _THERE = "here", "fresh-", "there-"


class Probe(Struct, frozen=True):
    """The folder in which both sides try, and the words that each writes there."""

    place: Path
    ours: str
    theirs: str


@contextmanager
def probe(folder: Path) -> Iterator[Probe]:
    """Lay down what the other side is to find, with a lock held, and take everything away again at the end.

    Raises OSError where the folder cannot be written, synced or locked.
    """
    tried = Probe(folder / f"{_NAME}{secrets.token_hex(8)}", secrets.token_hex(16), secrets.token_hex(16))
    tried.place.mkdir()
    try:
        write_synced(tried.place / _HERE, tried.ours.encode())
        sync(tried.place)
        with FileLock(tried.place / LOCK, blocking=False):
            yield tried
    except Timeout as error:
        raise OSError(f"a lock that nobody holds is refused there ({error})") from error
    finally:
        shutil.rmtree(tried.place, ignore_errors=True)


def failures_seen_there(place: str, ours: str, theirs: str, name: str) -> str:
    """Look at a trial from the other side, under a ``name`` of its own, and return what fails, "" where nothing does.

    It writes a file there and renames it, for `failures_seen_here`.
    """
    folder = Path(place)
    try:
        if read_note(folder / _HERE) != ours:
            return "a file written here has different content there"
        if _gets_lock(folder / LOCK):
            return "a lock held here is not refused there"
        write_synced(folder / f"{_FRESH}{name}", theirs.encode())
        os.replace(folder / f"{_FRESH}{name}", folder / f"{_THERE}{name}")
        sync(folder)
    except FileNotFoundError:
        return "what is written here is not seen there"
    except OSError as error:
        return f"it cannot be used there: {error.strerror or error}"
    return ""


def failures_seen_here(tried: Probe, name: str) -> str:
    """Look at what the other side left in a trial, and return what fails, "" where nothing does."""
    try:
        if read_note(tried.place / f"{_THERE}{name}") != tried.theirs:
            return "a file written there has different content here"
    except OSError:
        return "a file renamed there is not seen here"
    return "a file renamed there has both names here" if (tried.place / f"{_FRESH}{name}").exists() else ""


@contextmanager
def sign(folder: str, name: str) -> Iterator[None]:
    """Lay an empty file into a folder, by which it is known elsewhere (`seen_there`), for a while. Raises OSError."""
    path = Path(folder, f"{_NAME}{name}")
    path.touch(exist_ok=False)
    try:
        yield
    finally:
        path.unlink(missing_ok=True)


def seen_there(folder: str, name: str) -> bool:
    """Say whether a folder by this name is the one in which the sign was laid."""
    return Path(folder, f"{_NAME}{name}").exists()


def _gets_lock(path: Path) -> bool:
    try:
        with FileLock(path, blocking=False):
            return True
    except Timeout:
        return False
