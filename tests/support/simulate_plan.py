"""The plan of a simulated job: where it lies, how much of everything there is, and how truth is expressed."""

import datetime as dt
import sys
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

SAMPLE_DATA = Path(__file__).resolve().parents[2] / "sample_data"
sys.path.append(str(SAMPLE_DATA))

from closed_forms import (  # noqa: E402  (the closed forms stand beside the demo data that is made with them)
    GRS80,
    NZTM2000,
    WGS84,
    Ellipsoid,
    Floats,
    TransverseMercator,
    move,
    read_gtx,
    to_geocentric,
    to_geographic,
    turn_enu,
    utm,
)

#: The closed forms are handed on, because they can only be found once the path above is set.
__all__ = [
    "CANTERBURY",
    "CENTRAL_JAVA",
    "ELLIPSOIDAL",
    "Columns",
    "Floats",
    "Place",
    "Plan",
    "Truth",
    "move",
    "moved",
    "naive_utc",
    "placed",
    "session_marks",
    "session_times",
    "to_geocentric",
    "to_geographic",
    "truth_of",
    "turn_enu",
]

Columns = dict[str, NDArray[Any]]

#: A grid is read once; those that a test makes lie in folders of their own.
_geoid = cache(read_gtx)


@dataclass(frozen=True)
class Place:
    """Where the job lies: degrees and metres (orthometric height), its CRSs by code, and the same in closed form."""

    longitude: float
    latitude: float
    height: float
    ellipsoid: Ellipsoid
    projection: TransverseMercator
    grid: str
    source: str
    height_datum: str
    geoid: Path | None

    def separation(self, longitude: Floats, latitude: Floats) -> Floats:
        """Return the height of the datum surface above the ellipsoid, metres; zero where heights are ellipsoidal."""
        return np.zeros_like(longitude) if self.geoid is None else _geoid(self.geoid).separation(longitude, latitude)


CANTERBURY = Place(
    171.85, -43.70, 310.0, GRS80, NZTM2000, "EPSG:2193", "EPSG:4959", "EPSG:5773",
    SAMPLE_DATA / "geoid" / "egm96_canterbury.gtx",
)  # fmt: skip
CENTRAL_JAVA = Place(
    110.90, -7.03, 25.0, WGS84, utm(49, south=True, ellipsoid=WGS84), "EPSG:9489", "EPSG:9469", "EPSG:5714",
    SAMPLE_DATA / "geoid" / "egm96_central_java.gtx",
)  # fmt: skip
ELLIPSOIDAL = Place(171.85, -43.70, 310.0, GRS80, NZTM2000, "EPSG:2193", "EPSG:4959", "ellipsoid", None)


@dataclass(frozen=True)
class Plan:
    """What to simulate. Lengths in metres; every random number follows from ``seed``.

    Each session occupies ``ties`` marks at its opening, makes half of its ``checks`` (the larger half) after them and
    the rest at its close; checks are on marks that do not tie it. With ``temporary`` every session also occupies TM1,
    which is in no register; sessions from ``tied_sessions`` on then hang on TM1 alone. With ``overlap`` all sessions
    run at the same hours, so that only the base id tells them apart.
    """

    sessions: int = 2
    points: int = 50
    ties: int = 1
    checks: int = 2
    marks: int = 4
    reach: float = 2_000.0
    noise: bool = True
    sigma_horizontal: float = 0.008
    sigma_vertical: float = 0.015
    centring: float = 0.003
    base_horizontal: float = 1.5
    base_vertical: float = 8.0
    temporary: bool = False
    tied_sessions: int | None = None
    overlap: bool = False
    start: dt.datetime = dt.datetime(2026, 3, 1, 19, 30, tzinfo=dt.UTC)
    place: Place = CANTERBURY
    seed: int = 1


@dataclass
class Truth:
    """Where things are: grid easting, northing and datum height per name, in metres."""

    names: NDArray[Any]
    easting: Floats
    northing: Floats
    height: Floats
    longitude: Floats
    latitude: Floats
    ellipsoid_height: Floats
    _index: dict[str, int] = field(default_factory=dict)

    @property
    def places(self) -> Floats:
        """(n, 3) longitude, latitude, ellipsoidal height."""
        return np.column_stack([self.longitude, self.latitude, self.ellipsoid_height])

    def of(self, name: str) -> tuple[float, float, float]:
        """Return easting, northing and height of one point or mark; raises `KeyError` for an unknown name."""
        at = self.row(name)
        return float(self.easting[at]), float(self.northing[at]), float(self.height[at])

    def geographic(self, name: str) -> tuple[float, float, float]:
        """Return longitude, latitude and ellipsoidal height of one point or mark."""
        at = self.row(name)
        return float(self.longitude[at]), float(self.latitude[at]), float(self.ellipsoid_height[at])

    def row(self, name: str) -> int:
        """Return the row of a name."""
        if not self._index:
            self._index = {str(known): at for at, known in enumerate(self.names)}
        return self._index[name]


def session_marks(plan: Plan, session: int) -> tuple[list[int], list[int], list[int]]:
    """Return the numbers (from 0) of the marks that tie a session and check it at its opening and at its close."""
    tied = plan.sessions if plan.tied_sessions is None else plan.tied_sessions
    ties = [(session + k) % plan.marks for k in range(plan.ties)] if session < tied else []
    others = [(session + k) % plan.marks for k in range(plan.marks) if (session + k) % plan.marks not in ties]
    checks = [others[k % len(others)] for k in range(plan.checks)]
    opening = (plan.checks + 1) // 2
    return ties, checks[:opening], checks[opening:]


def naive_utc(moment: dt.datetime) -> dt.datetime:
    """Return a moment as a UTC time without a zone, as NumPy wants it."""
    return moment.astimezone(dt.UTC).replace(tzinfo=None)


def session_times(plan: Plan) -> tuple[NDArray[np.datetime64], int]:
    """Return when each session starts (UTC, milliseconds) and how many whole seconds it lasts."""
    length = max(8 * 3600, plan.points + plan.ties + plan.checks + 10)
    days = 0 if plan.overlap else -(-(length + 3600) // 86400)
    apart = (np.arange(plan.sessions) * days).astype("timedelta64[D]")
    return np.datetime64(naive_utc(plan.start), "ms") + apart, length


def truth_of(plan: Plan, names: NDArray[Any], longitude: Floats, latitude: Floats, ellipsoid_height: Floats) -> Truth:
    """Return truth at geographic places: on the grid by the projection, in height by the geoid."""
    easting, northing = plan.place.projection.forward(longitude, latitude)
    height = ellipsoid_height - plan.place.separation(longitude, latitude)
    return Truth(names, easting, northing, height, longitude, latitude, ellipsoid_height)


def placed(plan: Plan, names: NDArray[Any], offsets: Floats) -> Truth:
    """Return truth at (n, 3) offsets of roughly so many metres east and north of the place and above its ground."""
    place = plan.place
    degree = np.degrees(1 / place.ellipsoid.a)
    latitude = place.latitude + offsets[:, 1] * degree
    longitude = place.longitude + offsets[:, 0] * degree / np.cos(np.radians(place.latitude))
    ground = place.height + 0.004 * offsets[:, 0] + 3 * np.sin(offsets[:, 1] / 400)
    return truth_of(plan, names, longitude, latitude, ground + offsets[:, 2] + place.separation(longitude, latitude))


def moved(plan: Plan, where: Truth, xyz: Floats) -> Truth:
    """Return truth moved by (n, 3) geocentric vectors."""
    there = move(where.longitude, where.latitude, where.ellipsoid_height, xyz, plan.place.ellipsoid)
    return truth_of(plan, where.names, *there)
