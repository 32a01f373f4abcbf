"""A database that somebody else made, opened so that its own definitions can do no more than be read.

An SQLite file may bring views without an end, columns that are computed by whatever function, virtual tables, and pages
that lead back to themselves. Here it can neither write, attach nor load anything, and whatever it costs is bounded by
the size of the file.
"""

import re
import sqlite3
import sys
from pathlib import Path
from time import thread_time
from typing import Any

from pipeline.files.regular_files import check_regular
from pipeline.words import counted

#: Bytes of a single value: more than a photograph has.
LONGEST = 1 << 25
#: Steps of SQLite's machine, and seconds of work, for any file; and what every byte of a file adds. Reading a layer of
#: a million rows in all ways that it is read takes a quarter of what its bytes give.
_STEPS, _STEPS_PER_BYTE, _SECONDS, _BYTES_PER_SECOND = 200_000_000, 6, 3.0, 10_000_000
#: After so many steps the work done is looked at: seldom where nothing but stored values is read.
_OFTEN, _SELDOM = 200, 20_000
#: Bytes that SQLite may have in memory in all.
_MEMORY = 1 << 29

_MAY = {sqlite3.SQLITE_SELECT, sqlite3.SQLITE_READ, sqlite3.SQLITE_RECURSIVE, sqlite3.SQLITE_TRANSACTION}
_PREPARED = {sqlite3.SQLITE_INSERT, sqlite3.SQLITE_UPDATE, sqlite3.SQLITE_DELETE}
_PRAGMAS = {"table_info", "table_xinfo", "application_id", "user_version", "encoding", "integrity_check"}
#: Functions of SQLite's that give nothing but a value of what they are given.
_FUNCTIONS = frozenset([
    "abs", "acos", "asin", "atan", "atan2", "avg", "cast", "ceil", "ceiling", "char", "coalesce", "cos", "count",
    "cume_dist", "date", "datetime", "degrees", "dense_rank", "exp", "first_value", "floor", "format", "glob",
    "group_concat", "hex", "ifnull", "iif", "instr", "json", "json_array", "json_array_length", "json_extract",
    "json_object", "json_type", "json_valid", "julianday", "lag", "last_value", "lead", "length", "like",
    "likelihood", "likely", "ln", "log", "log10", "log2", "lower", "ltrim", "max", "min", "mod", "nth_value", "ntile",
    "nullif", "percent_rank", "pi", "pow", "power", "printf", "quote", "radians", "rank", "replace", "round",
    "row_number", "rtreecheck", "rtrim", "sign", "sin", "sqrt", "strftime", "substr", "substring", "sum", "tan",
    "time", "total", "trim", "trunc", "typeof", "unicode", "unixepoch", "unlikely", "upper", "->", "->>",
])  # fmt: skip
_REFUSED = re.compile(r"(?:unsafe use of(?: virtual table)?|not authorized to use function:) \"?(\w+)")


class Guarded(sqlite3.Connection):
    """A connection that only reads, and ends with an sqlite3.OperationalError beyond its limits."""

    _steps, _seconds, _each, _at = float(_STEPS), _SECONDS, _OFTEN, 0.0

    def limit(self, size: int) -> None:
        """Set the limits for a file of so many bytes."""
        self._steps = _STEPS + _STEPS_PER_BYTE * float(size)
        self._seconds = _SECONDS + size / _BYTES_PER_SECOND
        self._at = thread_time()
        self._look_after(_OFTEN)

    def nothing_computed(self) -> None:
        """Say that what is read from now on are stored values of a table."""
        self._look_after(_SELDOM)

    def _look_after(self, steps: int) -> None:
        self._each = steps
        self.set_progress_handler(self._spent, steps)

    def _spent(self) -> bool:
        """Count the work since it was last looked at, but for what was done outside of SQLite in between."""
        now = thread_time()
        self._steps -= self._each
        self._seconds -= min(now - self._at, 0.5) if self._each == _OFTEN else 0.0
        self._at = now
        return self._steps < 0 or self._seconds < 0


def guarded(where: str, size: int, content: bytes | None = None, **how: Any) -> Guarded:
    """Open a database of ``size`` bytes to read it, the ``content`` of a file instead of what is at ``where``.

    Raises sqlite3.Error; ``how`` is as for `sqlite3.connect`.
    """
    connection = sqlite3.connect(where, factory=Guarded, **how)
    if content is not None:
        connection.deserialize(content)  # SQLite attaches it, which nothing may do from now on
    for pragma in ("trusted_schema = OFF", "cell_size_check = ON", "query_only = ON", "temp_store = MEMORY"):
        connection.execute(f"PRAGMA {pragma}").close()
    connection.execute(f"PRAGMA hard_heap_limit = {_MEMORY}").close()
    if sys.version_info >= (3, 12):
        connection.setconfig(sqlite3.SQLITE_DBCONFIG_DEFENSIVE, True)
        connection.setconfig(sqlite3.SQLITE_DBCONFIG_ENABLE_TRIGGER, False)
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST)
    connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
    connection.set_authorizer(_authorizer)
    connection.limit(size)
    return connection


def guarded_file(path: Path, **how: Any) -> Guarded:
    """Open a file as it is in itself, without a lock, a log or a change. Raises sqlite3.Error, OSError."""
    check_regular(path)
    # "immutable": else SQLite lays files beside one that was left in write-ahead mode; `as_uri` writes "?", "#" and "%"
    # of a name so that they stay part of it
    where = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    return guarded(where, path.stat().st_size, uri=True, **how)


def failure_message(error: BaseException) -> str:
    """Return in words what ended the reading of a database."""
    said = str(error)
    if said == "interrupted":
        return "reading was stopped: it took far longer than the file size justifies (a view or table may be endless)"
    if isinstance(error, MemoryError):
        return f"reading it takes more than {counted(_MEMORY >> 20, 'megabyte')} of memory"
    if said == "string or blob too big":
        return f"a value in it is larger than {counted(LONGEST >> 20, 'megabyte')}"
    if found := _REFUSED.search(said):
        return (
            f"a view or a column in it is computed with {found[1]}, which is not supported: save the layer as a table"
        )
    if said == "not authorized" or "prohibited" in said:
        return f"it tries to do more than be read ({said})"
    return said


def _authorizer(action: int, first: str | None, second: str | None, place: str | None, source: str | None) -> int:
    """Allow what only reads."""
    if action in _MAY:
        return sqlite3.SQLITE_OK
    if action in _PREPARED and (first or "").startswith(("sqlite_master", "rtree_")):
        return sqlite3.SQLITE_OK  # asked where a virtual table is only opened; nothing can be written in any case
    if action == sqlite3.SQLITE_FUNCTION:
        return sqlite3.SQLITE_OK if (second or "").casefold() in _FUNCTIONS else sqlite3.SQLITE_DENY
    if action == sqlite3.SQLITE_PRAGMA and (first or "").casefold() in _PRAGMAS:
        return sqlite3.SQLITE_OK
    return sqlite3.SQLITE_DENY
