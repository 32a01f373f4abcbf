"""The rows of a point's names in an issue's GeoPackage, read as SQLite holds them, without a trace left."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from pipeline.files.unlocked_database import unlocked

#: Per layer the column with the point's name, the word that says how the row stands, and what else is looked at.
_LAYERS = {
    "points": ("name", "proof"),
    "check_marks": ("point", "role"),
    "held_back": ("name", "reason"),
}
_SOURCE = ("source_file", "source_row")


def find_rows(package: Path, names: Sequence[str]) -> list[dict[str, Any]]:
    """Return the rows of a point's names: ``layer``, ``observed``, easting, northing, height, ``word``, source.

    ``word`` is the proof word, the role on a mark, or the reason for holding back. Points come first.

    Raises OSError where the file is gone, and sqlite3.DatabaseError where it cannot be read.
    """
    package.stat()
    with closing(_open(package)) as file:
        return [row for layer in _LAYERS for row in _rows(file, layer, names)]


def find_reasons(package: Path, names: Sequence[str]) -> list[str]:
    """Return why an issue changed a point, each reason once; none where the issue has no layer of changes.

    Raises as `find_rows` does.
    """
    with closing(_open(package)) as file:
        if not _columns(file, "changes"):
            return []
        rows = file.execute(f"SELECT DISTINCT because FROM changes WHERE name {_among(names)} ORDER BY fid", names)
        return [str(because) for (because,) in rows if because]


def _open(package: Path) -> sqlite3.Connection:
    file = unlocked(package)
    file.row_factory = sqlite3.Row
    return file


def _columns(file: sqlite3.Connection, layer: str) -> set[str]:
    return {row["name"] for row in file.execute("SELECT name FROM pragma_table_info(?)", [layer])}


def _rows(file: sqlite3.Connection, layer: str, names: Sequence[str]) -> Iterator[dict[str, Any]]:
    named, word = _LAYERS[layer]
    present = _columns(file, layer)
    source = ", ".join(column if column in present else f"NULL AS {column}" for column in _SOURCE)
    columns = f"observed, easting, northing, height, {word} AS word, {source}"
    found = file.execute(f"SELECT {columns} FROM {layer} WHERE {named} {_among(names)} ORDER BY fid", names)
    yield from ({"layer": layer, **dict(row)} for row in found)


def _among(names: Sequence[str]) -> str:
    return f"IN ({', '.join('?' * len(names))})"
