"""A GeoPackage that another program may have open, read without a lock, a change, or a file left beside it."""

import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from pipeline.files.guarded_database import Guarded, guarded_file
from pipeline.files.regular_files import check_regular

#: What SQLite lays beside a file that a program has open, or had open when it died, with changes not in it yet.
BESIDE = ("-wal", "-shm", "-journal")


def unlocked(package: Path) -> Guarded:
    """Open a GeoPackage as it is in itself, to read it by SQLite. Raises sqlite3.Error and OSError."""
    return guarded_file(package)


@contextmanager
def unsynced(package: Path) -> Iterator[sqlite3.Connection]:
    """Open a GeoPackage to write into it, which counts only once it was synced and read back. Raises sqlite3.Error."""
    with closing(sqlite3.connect(package, isolation_level=None)) as file:
        file.execute("PRAGMA journal_mode = OFF").fetchall()
        file.execute("PRAGMA synchronous = OFF")
        yield file


def quoted(name: str) -> str:
    """Return a table's or a column's name as SQL has it."""
    return '"' + name.replace('"', '""') + '"'


def is_there(package: sqlite3.Connection | Guarded, name: str) -> bool:
    """Say whether a database has a table, an index or a trigger of a name."""
    return package.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (name,)).fetchone() is not None


def logs_of(package: Path) -> list[Path]:
    """Return what lies beside a GeoPackage while a program has it open, or since one died."""
    return [log for log in (package.with_name(package.name + ending) for ending in BESIDE) if log.is_file()]


@contextmanager
def as_issued(package: Path) -> Iterator[Path]:
    """Yield a GeoPackage to be read as it is in itself, without what waits in logs beside it. Raises OSError."""
    check_regular(package)
    # GDAL does as it is told by IMMUTABLE only where there is no log: else it takes the log in, or clears it away.
    if not logs_of(package):
        yield package
        return
    with tempfile.TemporaryDirectory() as scratch:
        yield Path(shutil.copyfile(package, Path(scratch, package.name)))


@contextmanager
def as_seen(package: Path) -> Iterator[Path]:
    """Yield a GeoPackage to be read as other programs see it, with what waits in logs beside it taken in.

    Raises OSError, and sqlite3.DatabaseError where it is no database or its log does not go with it.
    """
    check_regular(package)
    logs = logs_of(package)
    if not logs:
        yield package
        return
    with tempfile.TemporaryDirectory() as scratch:
        for source in (package, *logs):
            if not source.name.endswith("-shm"):  # made again from the log
                shutil.copyfile(source, Path(scratch, source.name))
        copy = Path(scratch, package.name)
        with closing(sqlite3.connect(copy)) as file:
            file.execute("PRAGMA trusted_schema = OFF")
            file.execute("PRAGMA journal_mode = DELETE").fetchall()
        yield copy
