"""The two ways into an older datum: by its file of shifts, and by the parameters that stand in where there is none."""

from functools import lru_cache

import numpy as np
from msgspec import Struct
from pyproj.crs import CRS
from pyproj.transformer import Transformer

from pipeline.arrays import Floats
from pipeline.geodesy import crs as systems
from pipeline.geodesy.area import Area
from pipeline.geodesy.candidate_operations import candidate_operations
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.pipelines import grid_names
from pipeline.sphere import DEGREE

#: Frames that receivers give, from which PROJ has both ways to an older datum.
_FRAMES = "EPSG:4258", "EPSG:4326"
#: Metres: parameters that fit a country worse than this are in no controller that surveys; common practice, no source.
_FITS = 3.0
#: Metres: the semi-major axis of the ellipsoids whose datums need no such file, and what those of others differ by.
_SATELLITES, _ONE_SIZE = 6_378_137.0, 0.5
_AXES = "axis order change (2D)"


class TwoWays(Struct, frozen=True):
    """A way into a datum ``by_file`` of shifts, and a ``plain`` one without."""

    by_file: Transformer
    plain: Transformer

    @property
    def files(self) -> str:
        """Return the names of the files of shifts."""
        return " and ".join(grid_names(self.by_file.definition))

    @property
    def plain_name(self) -> str:
        """Return what the plain way is called."""
        parts = [part for part in self.plain.description.split(" + ") if part != _AXES]
        return ", ".join(part.removeprefix("Inverse of ") for part in parts)

    def apart(self, longitude: Floats, latitude: Floats) -> Floats:
        """Return (n, 2) metres east and north by which the two differ at places in degrees (n,)."""
        one, other = (np.column_stack(way.transform(longitude, latitude)) for way in (self.by_file, self.plain))
        metres = DEGREE * np.column_stack([np.cos(np.radians(latitude)), np.ones(len(latitude))])
        return np.asarray((one - other) * metres, np.float64)


@lru_cache(maxsize=16)
def two_ways(crs: str, area: Area) -> TwoWays | None:
    """Return both ways into the datum of a projected CRS; None where it is no such CRS, or PROJ lacks one of them."""
    source = systems.source_crs(crs)
    if systems.kind_of(source) != "projected":
        return None
    if abs(systems.ellipsoid_of(source).a - _SATELLITES) < _ONE_SIZE:
        return None
    for frame in _FRAMES:
        try:
            found = candidate_operations(CRS(frame), systems.geographic_of(source), area).transformers
        except OperationError:
            continue
        by_file = [one for one in found if grid_names(one.definition)]
        plain = [one for one in found if not grid_names(one.definition) and 0.0 <= one.accuracy <= _FITS]
        if by_file and plain:
            return TwoWays(by_file[0], plain[0])
    return None
