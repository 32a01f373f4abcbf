"""A day in the field, invented: rows with true places, observed against a base that believes in a wrong position."""

import csv
import datetime as dt
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from closed_forms import (
    Ellipsoid,
    Floats,
    Geoid,
    TransverseMercator,
    to_geocentric,
    to_geographic,
    turn_enu,
)

#: True east, grid north and datum height of a place.
Place = tuple[float, float, float]


@dataclass(frozen=True)
class Frame:
    """The grid and the height datum that truth is given in."""

    ellipsoid: Ellipsoid
    projection: TransverseMercator
    geoid: Geoid

    def geographic(self, easting: Floats, northing: Floats, height: Floats) -> tuple[Floats, Floats, Floats]:
        """Return longitude, latitude and ellipsoidal height of grid coordinates and datum heights."""
        longitude, latitude = self.projection.inverse(easting, northing)
        return longitude, latitude, height + self.geoid.separation(longitude, latitude)


@dataclass(frozen=True)
class Day:
    """One base session: its base, where the base stood (grid), and how far its position is wrong (east, north, up).

    ``error`` is what must be added to the exports, metres at the base.
    """

    name: str
    base: str
    stood: Place
    error: Place


@dataclass
class Row:
    """One observation. ``place`` is the truth; what the rover exports is filled in by `observe`."""

    name: str
    code: str
    time: dt.datetime
    place: Place
    day: Day
    sigma: tuple[float, float] = (0.008, 0.015)
    solution: str = "fix"
    pdop: float = 1.6
    satellites: int = 17
    remark: str = ""
    exported: tuple[float, float, float] = field(default=(0.0, 0.0, 0.0))
    sigmas: tuple[float, float, float] = field(default=(0.0, 0.0, 0.0))


def spread_times(rows: Sequence[Row], start: dt.datetime, end: dt.datetime, rng: random.Random) -> None:
    """Give rows that follow one another times between two moments, whole seconds, not quite evenly spaced."""
    step = (end - start).total_seconds() / (len(rows) + 1)
    for number, row in enumerate(rows, start=1):
        row.time = start + dt.timedelta(seconds=round(step * (number + rng.uniform(-0.3, 0.3))))


def observe(rows: Sequence[Row], frame: Frame, rng: random.Random) -> None:
    """Fill in what the rover exports: longitude, latitude, ellipsoidal height and the three sigmas.

    raw = truth + noise - error of the base, added as geocentric vectors.
    """
    lon, lat, height = frame.geographic(*np.array([row.place for row in rows]).T)
    noise = np.zeros((len(rows), 3))
    for row, at in zip(rows, noise, strict=True):
        part = rng.uniform(0.8, 1.2)
        row.sigmas = (round(row.sigma[0] * part, 4), round(row.sigma[0] * part * rng.uniform(0.9, 1.1), 4),
                      round(row.sigma[1] * part, 4))  # fmt: skip
        at[:] = [rng.gauss(0, sigma) for sigma in row.sigmas]
        row.pdop = round(row.pdop + rng.uniform(-0.3, 0.5), 1)
        row.satellites += rng.randint(-3, 4)
    xyz = to_geocentric(lon, lat, height, frame.ellipsoid) + turn_enu(lon, lat, noise)
    errors = {day: base_error(day, frame) for day in {row.day for row in rows}}
    xyz -= np.array([errors[row.day] for row in rows])
    for row, *exported in zip(rows, *to_geographic(xyz, frame.ellipsoid), strict=True):
        row.exported = (float(exported[0]), float(exported[1]), float(exported[2]))


def correct_in_field(rows: Sequence[Row], tie: Row, mark: Place, since: dt.datetime, frame: Frame) -> None:
    """Let the equipment work out a shift from its reading on a mark, and add it to all that it exports from then on.

    The shift is the mark as the equipment was told it, minus what it read: one geocentric vector. ``rows`` are those of
    one receiver; the tie itself, observed before, stays raw.
    """
    told = to_geocentric(*frame.geographic(*np.array(mark)), frame.ellipsoid)
    shift = told - to_geocentric(*np.array(tie.exported), frame.ellipsoid)
    for row in rows:
        if row.time >= since:
            xyz = to_geocentric(*np.array(row.exported), frame.ellipsoid) + shift
            exported = to_geographic(xyz, frame.ellipsoid)
            row.exported = (float(exported[0]), float(exported[1]), float(exported[2]))


def base_error(day: Day, frame: Frame) -> Floats:
    """Return (3,) the geocentric vector that must be added to a session's exports, metres."""
    longitude, latitude, _ = frame.geographic(*np.array(day.stood))
    return turn_enu(longitude, latitude, np.array(day.error))


def write_rows(path: Path, head: Sequence[str], rows: Iterable[Sequence[object]], delimiter: str = ",") -> None:
    """Write a table as UTF-8 text with line feeds."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=delimiter, lineterminator="\n")
        writer.writerow(head)
        writer.writerows(rows)


def write_truth(path: Path, rows: Iterable[Row], marks: dict[str, Place]) -> None:
    """Write the truth, grid coordinates and datum heights, of the marks and then of every row, to 0.1 mm."""
    places = [(name, "", place) for name, place in marks.items()]
    places += [(row.name, row.day.name, row.place) for row in rows]
    head = ("name", "session", "easting", "northing", "height")
    write_rows(path, head, [(name, day, *(f"{value:.4f}" for value in place)) for name, day, place in places])
