"""The extent of a job in longitude and latitude."""

from dataclasses import dataclass, field

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.errors import OperationError
from pipeline.replace import replace

_METRES_PER_DEGREE = 111_000.0  # a little short of a degree of latitude, so that a margin never comes out too small

_SLACK = 1e-9  # degrees, a tenth of a millimetre

#: Cells of the raster by which many places are thinned, along each side of their extent.
_RASTER = 100
#: Points from which the parts that lie here and there are known as well as from all.
_SAMPLE = 50_000


class Places(Struct, frozen=True):
    """Where the points of a job lie: (k,) longitudes and latitudes [deg], and how many points each stands for.

    ``extent`` holds every point. ``session`` (k,) is the index of each one's session, where that was given.
    """

    longitude: Floats
    latitude: Floats
    count: Integers
    extent: "Area"
    session: Integers | None = None

    @staticmethod
    def step(points: int) -> int:
        """Return that of so many points every which is looked at by `thinned`."""
        return max(points // _SAMPLE, 1)

    @classmethod
    def thinned(cls, lon: Floats, lat: Floats, extent: "Area", session: Integers | None = None) -> "Places":
        """Return one of the finite points (n,) [deg] for each cell of a raster over their extent.

        Of very many points it is those of a sample, spread evenly over their order. ``session`` (n,) are their
        sessions.
        """
        every = cls.step(len(lon))
        lon, lat, session = lon[::every], lat[::every], None if session is None else session[::every]
        known = np.isfinite(lon) & np.isfinite(lat)
        if not known.all():
            lon, lat, session = lon[known], lat[known], None if session is None else session[known]
        across, up = max(extent.width, _SLACK), max(extent.north - extent.south, _SLACK)
        column = np.minimum((lon - extent.west) % 360.0 / across * _RASTER, _RASTER - 1).astype(np.intp)
        row = np.clip((lat - extent.south) / up * _RASTER, 0, _RASTER - 1).astype(np.intp)
        cell = row * _RASTER + column
        chosen = np.zeros(_RASTER * _RASTER, np.intp)
        chosen[cell] = np.arange(len(cell))
        count = np.bincount(cell, minlength=len(chosen))
        some = np.flatnonzero(count)
        at = chosen[some]
        return cls(lon[at], lat[at], count[some], extent, None if session is None else session[at])


@dataclass(frozen=True)
class Area:
    """Bounds in degrees. ``west`` greater than ``east`` means that the area crosses the 180th meridian, as in PROJ.

    ``places`` are those that it was made of, where they are to be judged by themselves.

    Raises `OperationError` where the bounds are not finite or not on the earth.
    """

    west: float
    south: float
    east: float
    north: float
    places: Places | None = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        bounds = (self.west, self.south, self.east, self.north)
        sound = all(np.isfinite(bounds)) and -90.0 <= self.south <= self.north <= 90.0
        if not sound or max(abs(self.west), abs(self.east)) > 180.0:
            raise OperationError(
                f"the job's area (west, south, east, north = {', '.join(f'{bound:g}' for bound in bounds)}) is not a "
                "place on the earth",
                "check the order of the coordinate columns, their units and source.crs",
            )

    @classmethod
    def from_degrees(cls, lon: ArrayLike, lat: ArrayLike) -> "Area":
        """Return the smallest area around the finite points (n,) [deg].

        In longitude it leaves out the widest gap, so that points on both sides of the 180th meridian give a narrow
        area. Raises `OperationError` where no point is finite.
        """
        lon, lat = np.asarray(lon, dtype=np.float64).ravel(), np.asarray(lat, dtype=np.float64).ravel()
        known = np.isfinite(lon) & np.isfinite(lat)
        if not known.any():
            raise OperationError("no point has a usable position", "check the coordinate columns and source.crs")
        around = np.unique((lon[known] + 180.0) % 360.0 - 180.0)
        gaps = np.append(np.diff(around), around[0] + 360.0 - around[-1])
        widest = int(np.argmax(gaps))
        west = around[(widest + 1) % around.size]
        return cls(float(west), float(lat[known].min()), float(around[widest]), float(lat[known].max()))

    @property
    def width(self) -> float:
        """Extent in longitude [deg], 0 to 360."""
        width = self.east - self.west
        return width if width >= 0.0 else width + 360.0

    @property
    def size(self) -> float:
        """Extent in longitude times that in latitude, square degrees: larger for a larger area of like latitude."""
        return self.width * (self.north - self.south)

    @property
    def centre(self) -> tuple[float, float]:
        """Longitude and latitude of the middle [deg]."""
        return _wrapped(self.west + self.width / 2.0), (self.south + self.north) / 2.0

    def with_margin(self, metres: float) -> "Area":
        """Return the area widened by ``metres`` on every side; near a pole it goes all the way round."""
        high = metres / _METRES_PER_DEGREE
        south, north = max(self.south - high, -90.0), min(self.north + high, 90.0)
        narrowest = np.cos(np.radians(max(abs(south), abs(north))))
        if narrowest <= 1e-6 or self.width + 2.0 * high / narrowest >= 360.0:
            return replace(self, west=-180.0, south=south, east=180.0, north=north)
        wide = float(high / narrowest)
        west, east = _wrapped(self.west - wide), _wrapped(self.east + wide)
        return replace(self, west=west, south=south, east=east, north=north)

    def contains(self, other: "Area") -> bool:
        """Tell whether ``other`` lies within this area; both may cross the 180th meridian."""
        if not (self.south <= other.south and other.north <= self.north):
            return False
        if self.width >= 360.0:
            return True
        # a little slack: rounding must not turn "just west" into "all the way round"
        offset = (other.west - self.west + _SLACK) % 360.0
        return offset + other.width <= self.width + 2.0 * _SLACK

    def holds(self, lon: ArrayLike, lat: ArrayLike) -> Flags:
        """Return (n,) which points [deg] lie within this area; one that is not finite does not."""
        lon, lat = np.asarray(lon, dtype=np.float64), np.asarray(lat, dtype=np.float64)
        inside = (lat >= self.south - _SLACK) & (lat <= self.north + _SLACK)
        if self.width >= 360.0:
            return np.asarray(inside & np.isfinite(lon))
        with np.errstate(invalid="ignore"):
            offset = (lon - self.west + _SLACK) % 360.0
        return np.asarray(inside & (offset <= self.width + 2.0 * _SLACK))

    def part_of(self, job: "Area") -> float:
        """Return the part of a job's places that lies within this area, 0 to 1.

        Without places the whole of the job's area counts: 1 or 0.
        """
        places = job.places
        if places is None or not len(places.count):
            return float(self.contains(job))
        if self.contains(places.extent):
            return 1.0
        return float(places.count[self.holds(places.longitude, places.latitude)].sum() / places.count.sum())

    def holds_all(self, job: "Area") -> bool:
        """Tell whether every point of a job lies within this area, as far as can be said without its points."""
        return self.contains(job) and (job.places is None or self.contains(job.places.extent))

    def samples(self) -> tuple[Floats, Floats]:
        """Return longitudes and latitudes (9,) [deg]: the middle, the corners and the middles of the sides."""
        along = self.west + self.width * np.array([0.5, 0.0, 1.0, 0.0, 1.0, 0.5, 0.5, 0.0, 1.0])
        up = self.south + (self.north - self.south) * np.array([0.5, 0.0, 0.0, 1.0, 1.0, 0.0, 1.0, 0.5, 0.5])
        return np.asarray([_wrapped(float(lon)) for lon in along]), up


WHOLE_EARTH = Area(-180.0, -90.0, 180.0, 90.0)


class Use(Struct, frozen=True):
    """Where something is meant to be used: the name of the area, as the registry has it, and the area."""

    name: str
    area: Area


def _wrapped(lon: float) -> float:
    return lon if -180.0 <= lon <= 180.0 else (lon + 180.0) % 360.0 - 180.0
