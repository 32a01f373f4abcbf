"""Other datums that a coordinate may have been meant in."""

import warnings
from dataclasses import dataclass
from functools import lru_cache

from pyproj.aoi import AreaOfInterest
from pyproj.crs import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import ProjError
from pyproj.transformer import AreaOfInterest as Interest
from pyproj.transformer import TransformerGroup

from pipeline.geodesy import crs as systems
from pipeline.geodesy import grids
from pipeline.geodesy.area import Area

#: Metres: beyond, an operation tells two datums apart no better than a shift of the coordinates would.
_WORST = 10.0
_WIDEST = 180.0  # degrees of longitude: what is used all over the earth is not a datum of the area


@dataclass(frozen=True)
class OtherDatum:
    """A geographic CRS of the area on another datum than the grid's.

    ``longitude`` and ``latitude`` [deg], in the grid's datum, of the point whose numbers in this datum were asked for;
    ``accuracy`` [m] as PROJ states it.
    """

    name: str
    accuracy: float
    longitude: float
    latitude: float


def other_datums(grid: str, area: Area, longitude: float, latitude: float) -> list[OtherDatum]:
    """Return what the area's other datums would make of a longitude and latitude [deg].

    Args:
        grid: the target grid.
        area: the job's; a CRS counts where its area of use contains it.
        longitude: the numbers as written, in whatever datum they were meant.
        latitude: likewise.
    """
    found = []
    for name, group in _groups(grid, area):
        there = group.transformers[0].transform(longitude, latitude)
        found.append(OtherDatum(name, float(group.transformers[0].accuracy), float(there[0]), float(there[1])))
    return found


@lru_cache(maxsize=4)
def _groups(grid: str, area: Area) -> list[tuple[str, TransformerGroup]]:
    grids.prepare_proj()
    interest = AreaOfInterest(area.west, area.south, area.east, area.north)
    target = systems.geographic_of(systems.target_grid(grid))
    found = []
    infos = query_crs_info("EPSG", pj_types=PJType.GEOGRAPHIC_2D_CRS, area_of_interest=interest, contains=True)
    for info in infos:
        use = info.area_of_use
        if info.deprecated or use is None or _width(use.west, use.east) > _WIDEST:
            continue
        group = _group(CRS.from_epsg(info.code), target, Interest(area.west, area.south, area.east, area.north))
        if group is not None:
            found.append((info.name, group))
    return found


def _width(west: float, east: float) -> float:
    return east - west if east >= west else east - west + 360.0


def _group(source: CRS, target: CRS, interest: Interest) -> TransformerGroup | None:
    if systems.same_datum(source, target):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # a better operation lacks its grid; this is a reading, no result
        try:
            group = TransformerGroup(source, target, always_xy=True, area_of_interest=interest, allow_ballpark=False)
        except ProjError:
            return None
    usable = group.transformers and 0.0 < group.transformers[0].accuracy <= _WORST
    return group if usable else None
