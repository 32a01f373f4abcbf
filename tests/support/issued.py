"""Reads an issue as a stranger would: SQLite and JSON alone, nothing of the pipeline and no GDAL."""

import json
import sqlite3
import struct
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from published_schema import broken

#: Bytes of a GeoPackage geometry's envelope by its indicator (GeoPackage 1.3, clause 2.1.3).
_ENVELOPES = (0, 32, 48, 48, 64)


@dataclass(frozen=True)
class Layer:
    """One layer: its columns without key and geometry, its rows, and each row's (x, y, z) or None.

    ``kind`` is the geometry type's name, ``z`` whether it must have heights (1), ``code`` the CRS's authority and code.
    """

    columns: list[str]
    rows: list[dict[str, Any]]
    places: list[tuple[float, ...] | None]
    kind: str
    z: int
    code: tuple[str, int]
    description: str

    def one(self, **wanted: Any) -> dict[str, Any]:
        """Return the one row that has these values."""
        found = self.where(**wanted)
        assert len(found) == 1, f"{len(found)} rows with {wanted}"
        return found[0]

    def where(self, **wanted: Any) -> list[dict[str, Any]]:
        """Return the rows that have these values."""
        found = self.rows
        for name, value in wanted.items():
            found = [row for row in found if row[name] == value]
        return found

    def column(self, name: str) -> list[Any]:
        """Return one column."""
        return [row[name] for row in self.rows]

    def xyz(self) -> NDArray[np.float64]:
        """Return (n, 3) easting, northing, height from the columns; NaN for null."""
        names = ("easting", "northing", "height")
        return np.array([[row[name] for name in names] for row in self.rows], float).reshape(-1, 3)


def read_layer(path: Path, name: str) -> Layer:
    """Read one layer of a GeoPackage."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)) as file:
        file.row_factory = sqlite3.Row
        about = file.execute(
            "select c.description, g.column_name, g.geometry_type_name, g.z, s.organization, s.organization_coordsys_id"
            " from gpkg_contents c join gpkg_geometry_columns g using (table_name)"
            " join gpkg_spatial_ref_sys s on s.srs_id = g.srs_id where table_name = ?",
            [name],
        ).fetchone()
        key = [row["name"] for row in file.execute(f'pragma table_info("{name}")') if row["pk"]]
        found = [dict(row) for row in file.execute(f'select * from "{name}" order by "{key[0]}"')]
        columns = [row["name"] for row in file.execute(f'pragma table_info("{name}")')]
    shape = about["column_name"]
    places = [_place(row[shape]) for row in found]
    columns = [column for column in columns if column not in (*key, shape)]
    return Layer(
        columns,
        [{column: row[column] for column in columns} for row in found],
        places,
        about["geometry_type_name"],
        about["z"],
        (about["organization"], about["organization_coordsys_id"]),
        about["description"],
    )


def _place(blob: bytes | None) -> tuple[float, ...] | None:
    if blob is None:
        return None
    assert blob[:2] == b"GP"
    start = 8 + _ENVELOPES[blob[3] >> 1 & 7]
    order = "<" if blob[start] == 1 else ">"
    kind = struct.unpack_from(f"{order}I", blob, start + 1)[0]
    assert kind == 1001, f"not a PointZ: {kind}"
    return struct.unpack_from(f"{order}3d", blob, start + 5)


@dataclass(frozen=True)
class Issue:
    """One issue's folder, read on demand."""

    folder: Path

    @cached_property
    def record(self) -> dict[str, Any]:
        """The issue record, which every test that reads it holds to the published schema."""
        record = dict(json.loads((self.folder / "issue.json").read_text(encoding="utf-8")))
        assert not broken(record)
        return record

    @cached_property
    def package(self) -> Path:
        """The GeoPackage's path."""
        (found,) = (path for path in self.folder.glob("*.gpkg") if not path.is_symlink())
        return found

    @cached_property
    def layers(self) -> list[str]:
        """The names of the layers, sorted."""
        with closing(sqlite3.connect(f"file:{self.package}?mode=ro&immutable=1", uri=True)) as file:
            return sorted(row[0] for row in file.execute("select table_name from gpkg_contents"))

    @cached_property
    def points(self) -> Layer:
        """Corrected points."""
        return read_layer(self.package, "points")

    @cached_property
    def check_marks(self) -> Layer:
        """Occupations of marks."""
        return read_layer(self.package, "check_marks")

    @cached_property
    def sessions(self) -> Layer:
        """Base sessions."""
        return read_layer(self.package, "sessions")

    @cached_property
    def held_back(self) -> Layer:
        """Rows that are not issued."""
        return read_layer(self.package, "held_back")

    def reasons(self) -> dict[str, str]:
        """Return the reason of every row held back, by its name."""
        return {row["name"]: row["reason"] for row in self.held_back.rows}

    def balance(self) -> tuple[int, int, int]:
        """Return how many points, occupations of marks and rows held back the layers hold."""
        return len(self.points.rows), len(self.check_marks.rows), len(self.held_back.rows)


def current_issue(folder: Path) -> Issue:
    """Return the issue that ``current`` shows, in a job's folder."""
    return Issue((folder / "current").resolve(strict=True))


def newest_issue(folder: Path) -> Issue:
    """Return the newest issue in a job's folder, whether ``current`` shows it or it waits to be released."""
    return Issue(max((folder / "issues").iterdir()))


def everything_below(folder: Path) -> dict[str, bytes | None]:
    """Return every path below a folder with its bytes (None for a folder), to see that nothing was written."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in sorted(folder.rglob("*"))
    }


def off_truth(rows: Iterable[dict[str, Any]], truth: Any) -> NDArray[np.float64]:
    """Return (n, 3) issued minus true easting, northing and height of points, found in the truth by their names."""
    found = [np.array([row["easting"], row["northing"], row["height"]], float) - truth.of(row["name"]) for row in rows]
    return np.array(found).reshape(-1, 3)
