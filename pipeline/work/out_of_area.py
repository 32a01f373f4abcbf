"""Readings far outside the area in which the job's grid is meant to be used: the columns or the CRS are other ones."""

from pathlib import Path

import numpy as np

from pipeline.doubts import Doubtful
from pipeline.geodesy.area import Area
from pipeline.geodesy.crs import area_of_use, target_grid
from pipeline.proof.register import distance_from
from pipeline.words import Doubt
from pipeline.work.gather import Gathered
from pipeline.work.prepare import Prepared

#: Metres: neighbouring zones are drafted in now and then, other continents are not. Ours, no source.
_ELSEWHERE = 1_000_000.0


def beyond_grid(prepared: Prepared, area: Area | None) -> float:
    """Return how many metres all readings lie outside the grid's area of use; zero where it is not told, or reached."""
    use = area_of_use(target_grid(prepared.loaded.job.target.grid))
    if area is None or use is None:
        return 0.0
    corners = np.array([(x, y) for x in (area.west, area.east) for y in (area.south, area.north)])
    return float(distance_from((use.west, use.south, use.east, use.north), corners).min())


def place_doubts(prepared: Prepared, gathered: Gathered) -> list[Doubtful]:
    """Return a doubt where the whole job lies on another part of the earth than its grid.

    Marks that were exchanged or mapped in the same wrong way agree with such readings, and prove nothing.
    """
    far = beyond_grid(prepared, gathered.area)
    if far < _ELSEWHERE:
        return []
    file, line = prepared.loaded.where("points")
    what = (
        f"the readings lie {far / 1000:,.0f} km outside the area in which target.grid is used: see which columns are"
        " mapped as easting and northing (or longitude and latitude), their signs, and crs"
    )
    return [Doubtful(Doubt.PLACE, what, None, Path(file).name, line)]
