"""Places of other countries for the simulator, each with a geoid made to order: so high, and sloping by so much."""

from pathlib import Path

import numpy as np
from closed_forms import Geoid, write_gtx
from simulate_plan import GRS80, Place, utm

#: Longitude, latitude, UTM zone, southern, grid and 3D geographic CRS.
_SOMEWHERE = {
    "zurich": (8.5, 47.2, 32, False, "EPSG:25832", "EPSG:4937"),
    "madrid": (-3.7, 40.4, 30, False, "EPSG:25830", "EPSG:4937"),
    "hobart": (147.3, -42.8, 55, True, "EPSG:7855", "EPSG:7843"),
    "helsingor": (12.5, 56.0, 33, False, "EPSG:25833", "EPSG:4937"),
}


def place_with(folder: Path, separation: float, where: str = "zurich", height: float = 300.0) -> Place:
    """Return a place whose geoid lies so many metres above the ellipsoid, rising 2 cm in a kilometre north and east.

    The geoid grid is written into the folder. The height datum is EGM96's by name, so that no national grid is sought.
    """
    longitude, latitude, zone, south, grid, source = _SOMEWHERE[where]
    rows, columns = np.mgrid[0:21, 0:21]
    rise = 2e-5 * (11_100.0 * (rows - 10) + 8_000.0 * (columns - 10))
    path = folder / "geoid.gtx"
    folder.mkdir(parents=True, exist_ok=True)
    write_gtx(Geoid(latitude - 1.0, longitude - 1.0, 0.1, 0.1, (separation + rise).astype(np.float32)), path)
    projection = utm(zone, south=south, ellipsoid=GRS80)
    return Place(longitude, latitude, height, GRS80, projection, grid, source, "EPSG:5773", path)
