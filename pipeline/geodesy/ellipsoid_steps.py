"""How far the ellipsoids of two datums lie above one another at a place, by the operation that a run would choose."""

import math

import numpy as np
from pyproj.exceptions import CRSError, ProjError

from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import datum_to_datum, working_to_geographic


def ellipsoid_step(crs: str, grid: str, longitude: float, latitude: float) -> float | None:
    """Return by how much a height above the ellipsoid of a CRS's datum exceeds that above the one of a grid's datum.

    Zero where the operation carries heights as they are, as into datums for which no ellipsoidal heights are
    registered.

    Args:
        crs: a CRS of any kind.
        grid: a CRS of the other datum.
        longitude: of the place, degrees.
        latitude: degrees.

    Returns:
        Metres; None where PROJ has no operation at hand, or one that depends on time, as between datums of today, or
        where either text names no CRS.
    """
    here = Area(longitude, latitude, longitude, latitude)
    try:
        operation = datum_to_datum(crs, grid, here)
        if operation.time_dependent:
            return None
        xyz = operation.forward(*np.array([[longitude], [latitude], [0.0]]))
        height = float(working_to_geographic(grid).forward(*xyz)[2][0])
    except (OperationError, CRSError, ProjError):
        return None
    return -height if math.isfinite(height) else None
