"""The points of an issue that lie where somebody asks, found by its spatial index."""

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from msgspec import Struct

from pipeline.files.guarded_database import failure_message
from pipeline.files.unlocked_database import unlocked
from pipeline.issue.geopackage.earlier_rows import Lost, reading

_ROWS = (
    'SELECT p.name, p.session, p.observed, p.easting, p.northing, p.height FROM "rtree_points_geom" i'
    " JOIN points p ON p.fid = i.id WHERE i.maxx >= ? AND i.minx <= ? AND i.maxy >= ? AND i.miny <= ?"
)


class Issued(Struct, frozen=True):
    """A point of an issue: its name, its session, its easting, northing, height as the grid writes them, and when.

    ``observed`` is in UTC, as it is written.
    """

    name: str
    session: str
    place: tuple[float, float, float]
    observed: str


def points_at(package: Path, places: Iterable[tuple[float, float]], within: float) -> list[list[Issued]]:
    """Return the points of an issue around each of (x, y) places in its grid's CRS, no farther along either axis.

    Raises `Lost` where the file is gone or cannot be read.
    """
    try:
        with reading(package) as plain, closing(unlocked(plain)) as file:
            boxes = ((x - within, x + within, y - within, y + within) for x, y in places)
            return [
                [
                    Issued(name or "", of, tuple(place), observed or "")
                    for name, of, observed, *place in file.execute(_ROWS, box)
                ]
                for box in boxes
            ]
    except sqlite3.Error as error:
        raise Lost(f"{package.name} cannot be read: {failure_message(error)}") from error
