"""A grid that is meant for another part of the earth than the job's: a mistyped zone, most often."""

from pipeline.geodesy import crs
from pipeline.work.out_of_area import beyond_grid
from pipeline.work.prepare import Prepared
from pipeline.work.routes import Routes

#: Metres beyond a grid's area of use up to which one zone is kept for work that runs over its edge: three degrees at
#: the equator, half a zone. Common practice, no source.
_OVER_THE_EDGE = 333_000.0


def far_from_use(prepared: Prepared, routes: Routes) -> list[str]:
    """Return in words that the target grid is not meant for where the job lies."""
    stated = prepared.loaded.job.target.grid
    grid = crs.target_grid(stated)
    use = crs.area_of_use(grid)
    if use is None or beyond_grid(prepared, routes.area) < _OVER_THE_EDGE:
        return []
    longitude, latitude = routes.area.centre
    called = f"{stated} ({grid.name})" if len(stated) <= 40 else grid.name
    return [
        f"target.grid {called} is meant for longitudes {use.west:g} to {use.east:g} and latitudes {use.south:g} to"
        f" {use.north:g}, and the job lies at {longitude:.2f}, {latitude:.2f}: is it the right zone? Lengths on it"
        " differ much from those on the ground"
    ]
