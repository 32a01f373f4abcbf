"""The definitions in a GeoPackage changed, in a transaction, in what does not touch how rows are kept.

It is done as SQLite says (sqlite.org/lang_altertable.html, section 7): connections that are opened later go by it.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

#: A trigger: its name, the table that it works on, and its definition.
Trigger = tuple[str, str, str]


@contextmanager
def changing_definitions(file: sqlite3.Connection) -> Iterator[None]:
    """Let the table of definitions be written like any other; the caller's connection goes by it from then on."""
    ((version,),) = file.execute("PRAGMA schema_version").fetchall()
    file.execute("PRAGMA writable_schema = ON")
    yield
    file.execute(f"PRAGMA schema_version = {version + 1}")
    file.execute("PRAGMA writable_schema = OFF")


def redefine(file: sqlite3.Connection, tables: Sequence[tuple[str, str]], triggers: Sequence[Trigger] = ()) -> None:
    """Give tables, by their names, other definitions, and define ``triggers`` whose like SQLite has taken already.

    SQLite itself would take each trigger apart, and search all definitions after it.
    """
    rows = dict(file.execute("SELECT name, rowid FROM sqlite_master WHERE type = 'table'").fetchall())
    given = [(sql, rows[name]) for name, sql in tables]
    with changing_definitions(file):
        file.executemany("UPDATE sqlite_master SET sql = ? WHERE rowid = ?", given)
        file.executemany("INSERT INTO sqlite_master VALUES ('trigger', ?, ?, 0, ?)", triggers)
