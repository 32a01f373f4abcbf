"""Reads the lines of an issue as a stranger would: SQLite and the bytes of each geometry alone."""

import sqlite3
import struct
from contextlib import closing
from pathlib import Path
from typing import Any

#: Bytes of a GeoPackage geometry's envelope by its indicator (GeoPackage 1.3, clause 2.1.3).
_ENVELOPES = (0, 32, 48, 48, 64)


def lines_of(package: Path) -> list[dict[str, Any]]:
    """Return the rows of the layer ``lines``, each with its ``vertices`` as tuples of three numbers."""
    with closing(sqlite3.connect(f"file:{package}?mode=ro&immutable=1", uri=True)) as file:
        file.row_factory = sqlite3.Row
        return [{**dict(row), "vertices": vertices(row["geom"])} for row in file.execute("SELECT * FROM lines")]


def vertices(blob: bytes) -> list[tuple[float, ...]]:
    """Return the vertices of a line with heights (ISO 13249-3: type 1002)."""
    assert blob[:2] == b"GP" and blob[3] & 1
    begin = 8 + _ENVELOPES[blob[3] >> 1 & 7]
    order, kind, count = struct.unpack_from("<BII", blob, begin)
    assert (order, kind, len(blob)) == (1, 1002, begin + 9 + 24 * count)
    return list(struct.iter_unpack("<3d", blob[begin + 9 :]))


def points_of(package: Path) -> dict[str, tuple[float, ...]]:
    """Return the issued place of each point by its name."""
    with closing(sqlite3.connect(f"file:{package}?mode=ro&immutable=1", uri=True)) as file:
        rows = file.execute("SELECT name, easting, northing, height FROM points").fetchall()
    return {name: tuple(place) for name, *place in rows}
