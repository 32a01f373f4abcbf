"""The extent of a job: where its readings lie, without those that are far out."""

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.area import Area, Places
from pipeline.intake.ledger import CANDIDATE, ReadingRows
from pipeline.replace import replace

#: Degrees around an occupation within which readings belong to the job's area. No base reaches further; a reading
#: far out must not stretch the area over half the world, be it one that no session is large enough to give away.
_REACH = 2.0


class _Cells(Struct):
    """Extents of readings per whole degree of longitude and latitude, for finding the job's area in the end."""

    found: dict[int, list[float]] = field(default_factory=dict)

    def add(self, longitude: Floats, latitude: Floats) -> None:
        """Take (n,) places in degrees; NaN is none."""
        known = np.isfinite(longitude) & np.isfinite(latitude)
        longitude, latitude = longitude[known], latitude[known]
        keys = np.floor(longitude).astype(np.int64) * 1000 + np.floor(latitude).astype(np.int64)
        for key in np.unique(keys).tolist():
            lon, lat = longitude[keys == key], latitude[keys == key]
            cell = self.found.setdefault(key, [np.inf, np.inf, -np.inf, -np.inf, 0])
            cell[0], cell[1] = min(cell[0], lon.min()), min(cell[1], lat.min())
            cell[2], cell[3] = max(cell[2], lon.max()), max(cell[3], lat.max())
            cell[4] += len(lon)

    def extent(self) -> Area | None:
        """Return the extent of all cells."""
        if not self.found:
            return None
        corners = np.array([cell[:4] for cell in self.found.values()])
        return Area.from_degrees(corners[:, [0, 2]].ravel(), corners[:, [1, 3]].ravel())

    def area(self, anchors: "_Cells") -> Area | None:
        """Return the extent of the cells near an anchor's; without anchors, near the fullest cell."""
        if not self.found:
            return None
        centres = [cell[:4] for cell in anchors.found.values()]
        if not centres:
            centres = [max((self.found[key] for key in sorted(self.found)), key=lambda cell: cell[4])[:4]]
        near = [
            cell
            for cell in self.found.values()
            if any(
                cell[0] <= east + _REACH
                and cell[2] >= west - _REACH
                and cell[1] <= north + _REACH
                and cell[3] >= south - _REACH
                for west, south, east, north in centres
            )
        ]
        corners = np.array(near)
        return Area.from_degrees(corners[:, [0, 2]].ravel(), corners[:, [1, 3]].ravel())


def area_of(rows: ReadingRows, counting: Flags) -> Area | None:
    """Return the extent of the readings that count, near occupations where there are any, with some of their places.

    ``counting`` (n,) says which do. Returns None where none of them has a place.
    """
    cells, anchors = _Cells(), _Cells()
    candidate, done = rows.having(CANDIDATE), 0
    some, sessions = [np.zeros((2, 0))], [np.zeros(0, np.int64)]
    every = Places.step(int(np.count_nonzero(counting)))
    for at, places in rows.columns.pieces("longitude", "latitude"):
        here = np.array(places)[:, counting[at]]
        cells.add(*here)
        anchors.add(*here[:, candidate[at][counting[at]]])
        some.append(here[:, -done % every :: every].copy())  # a view would hold all of them
        sessions.append(rows.session[at][counting[at]][-done % every :: every].astype(np.int64))
        done += here.shape[1]
    area, extent = cells.area(anchors), cells.extent()
    if area is None or extent is None:
        return area
    longitude, latitude = np.concatenate(some, axis=1)
    return replace(area, places=Places.thinned(longitude, latitude, extent, np.concatenate(sessions)))
