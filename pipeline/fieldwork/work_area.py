"""Where the work lies that marks are wanted for: the job's readings, a planned area, or a place that somebody names."""

import re

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.control import Register
from pipeline.geodesy.area import Area
from pipeline.geodesy.own_places import own_places
from pipeline.intake.operations import Operations
from pipeline.job.load import LoadedJob
from pipeline.near import listed, nearest
from pipeline.problems import Problems

#: What a place may be written as, beside the name of a mark.
FORMS = "a mark's name, easting,northing as issued, or longitude,latitude in degrees"
_PAIR = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*,\s*([-+]?\d+(?:\.\d+)?)\s*")


class Spots(Struct, frozen=True):
    """Places before any operation is chosen: (n,) longitude and latitude [deg], and what they are, in words.

    ``grid`` (n, 2) has them on the grid, in metres to the east and north, where they were given so; else None.
    """

    longitude: Floats
    latitude: Floats
    what: str
    grid: Floats | None = None

    @property
    def area(self) -> Area:
        """Return their extent. Raises `OperationError` where it is no place on earth."""
        return Area.from_degrees(self.longitude, self.latitude)


class Work(Struct, frozen=True):
    """The work on the grid: ``corners`` (n, 2) [m], and what it is, in words."""

    corners: Floats
    what: str

    @property
    def middle(self) -> Floats:
        """Return (2,) the middle of its extent."""
        return np.asarray((self.corners.min(axis=0) + self.corners.max(axis=0)) / 2.0)

    @property
    def longest(self) -> float:
        """Return the longer side of its extent, metres."""
        return float((self.corners.max(axis=0) - self.corners.min(axis=0)).max())

    def distance(self, grid: Floats) -> Floats:
        """Return (m,) metres on the grid from places (m, 2) to its extent, 0 within; NaN stays NaN."""
        low, high = self.corners.min(axis=0), self.corners.max(axis=0)
        beyond = np.maximum(np.maximum(low - grid, grid - high), 0.0)
        return np.asarray(np.hypot(beyond[:, 0], beyond[:, 1]))


def place_named(text: str, loaded: LoadedJob, register: Register | None, problems: Problems) -> Spots | None:
    """Return the place that somebody names on the command line; None, with what is wrong, where it is none.

    Two numbers that may be degrees are longitude and latitude, unless the job issues in a site's own system, whose
    eastings and northings may be as small.
    """
    found = None if register is None else register.find(text)
    if register is not None and found is not None:
        return _of_mark(register, found, loaded)
    pair = _PAIR.fullmatch(text)
    if pair is None:
        near = nearest(text, register.names) if register is not None else []
        fix = f"did you mean {listed(near)}? " if near else ""
        problems.add("--around", 0, f'"{text}" is not a place', f"{fix}write {FORMS}")
        return None
    first, second = float(pair[1]), float(pair[2])
    if loaded.job.target.site is None and abs(first) <= 360.0 and abs(second) <= 90.0:
        return Spots(np.array([first]), np.array([second]), f"longitude {first:g}, latitude {second:g}")
    return on_grid(np.array([[first, second]]), loaded, f"{text.strip()}")


def on_grid(written: Floats, loaded: LoadedJob, what: str) -> Spots:
    """Return places (n, 2) as the grid writes them; of a site's own system nothing says yet where on earth it is."""
    from pipeline.geodesy import crs

    target = loaded.job.target
    if target.site is not None:
        unknown = np.full(len(written), np.nan)
        return Spots(unknown, unknown, what, written)
    axes = crs.target_axes(target.grid, target.height)
    east, north, _ = axes.metres(written[:, 0], written[:, 1], np.zeros(len(written)))
    longitude, latitude, _ = own_places(target.grid, east, north, np.zeros(len(written)))
    return Spots(longitude, latitude, what, np.column_stack([east, north]))


def _of_mark(register: Register, number: int, loaded: LoadedJob) -> Spots:
    control = loaded.job.control
    assert control is not None
    one = [np.array([values[number]]) for values in (register.first, register.second, register.third)]
    longitude, latitude, _ = own_places(control.crs, *one)
    return Spots(longitude, latitude, f"the mark {register.names[number]}")


def work_of(spots: Spots, operations: Operations) -> Work:
    """Return where places lie on the grid."""
    if spots.grid is not None:
        return Work(spots.grid, spots.what)
    xyz = operations.frames.to_geographic.inverse(spots.longitude, spots.latitude, np.zeros(len(spots.longitude)))
    east, north, _ = operations.frames.to_issued.forward(*xyz)
    return Work(np.column_stack([east, north]), spots.what)
