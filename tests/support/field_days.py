"""Days on which the field applied a correction that it worked out from a reading on a mark; nothing of the pipeline.

The equipment takes the mark's coordinates as it was told them, minus the reading as it shows it, and adds that to what
it exports from then on: as one geocentric vector, or on the grid.
"""

import datetime as dt

import numpy as np
from network_jobs import Network
from numpy.typing import NDArray
from simulate_plan import Floats, move, to_geocentric

POSITION = ("longitude", "latitude", "height")


def since(work: Network, start: dt.datetime, until: dt.datetime | None = None, session: int = 0) -> NDArray[np.bool_]:
    """Return the rows of a session from a time on, up to another."""
    time, (begins, ends) = work.rows["time"], (_plain(start), _plain(until or start + dt.timedelta(days=1)))
    return np.asarray((work.rows["session"] == session) & (time >= begins) & (time < ends))


def _plain(moment: dt.datetime) -> np.datetime64:
    return np.datetime64(moment.astimezone(dt.UTC).replace(tzinfo=None), "ms")


def shown(work: Network, point: str) -> Floats:
    """Return (3,) longitude, latitude and height of a reading as the export has it."""
    return np.array([work.rows[name][work.row(point)][0] for name in POSITION])


def apply(work: Network, chosen: NDArray[np.bool_], point: str, told: Floats) -> None:
    """Correct rows by a mark's (3,) longitude, latitude and height as told to the equipment, minus a reading on it."""
    ellipsoid = work.plan.place.ellipsoid
    vector = to_geocentric(*told, ellipsoid) - to_geocentric(*shown(work, point), ellipsoid)
    there = move(*(work.rows[name][chosen] for name in POSITION), vector, ellipsoid)
    for name, values in zip(POSITION, there, strict=True):
        work.rows[name] = work.rows[name].copy()
        work.rows[name][chosen] = values


def apply_on_grid(work: Network, chosen: NDArray[np.bool_], point: str, told: Floats) -> None:
    """Likewise on the grid: one easting, northing and height for all rows."""
    place = work.plan.place
    there, here = on_grid(work, told), on_grid(work, shown(work, point))
    lon, lat, up = (work.rows[name][chosen] for name in POSITION)
    east, north = place.projection.forward(lon, lat)
    new = place.projection.inverse(east + there[0] - here[0], north + there[1] - here[1])
    level = up - place.separation(lon, lat) + there[2] - here[2] + place.separation(*new)
    for name, values in zip(POSITION, (*new, level), strict=True):
        work.rows[name] = work.rows[name].copy()
        work.rows[name][chosen] = values


def on_grid(work: Network, at: Floats) -> Floats:
    """Return (3,) easting, northing and height in the height datum of a longitude, latitude and ellipsoidal height."""
    place = work.plan.place
    east, north = place.projection.forward(at[0], at[1])
    return np.array([float(east), float(north), float(at[2] - place.separation(at[0], at[1]))])
