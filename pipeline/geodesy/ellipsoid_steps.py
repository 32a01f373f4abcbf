"""How far the ellipsoids of two datums lie above one another at a place, by the operation that a run would choose."""

import math
from collections.abc import Callable

import numpy as np
from pyproj.exceptions import CRSError, ProjError

from pipeline.geodesy import crs as systems
from pipeline.geodesy import frames
from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import datum_to_datum, with_heights_turned
from pipeline.geodesy.transform import Operation


def ellipsoid_step(crs: str, other: str, longitude: float, latitude: float) -> float | None:
    """Return by how much a run takes a height above a CRS's ellipsoid to exceed that above another's at a place.

    Zero where the operation carries heights as they are, as into datums for which no ellipsoidal heights are
    registered.

    Args:
        crs: a CRS of any kind.
        other: a CRS of the other datum, in degrees or a grid.
        longitude: of the place, degrees.
        latitude: degrees.

    Returns:
        Metres; None where PROJ has no operation at hand, or one that depends on time, as between datums of today, or
        where either text names no CRS.
    """
    return _step(datum_to_datum, crs, other, longitude, latitude)


def step_not_taken(crs: str, other: str, longitude: float, latitude: float) -> float | None:
    """Return the same of a datum to which a run carries heights as they are: by how much they would exceed its own.

    None also where PROJ's operation says nothing of heights, as grids of shifts do.
    """
    return _step(with_heights_turned, crs, other, longitude, latitude)


def are_carried(crs: str, grid: str) -> bool:
    """Tell whether a run carries ellipsoidal heights from a CRS's datum into a grid's, or those of others into both.

    It does so where either has none that are registered. Raises `OperationError` for what is no CRS.
    """
    return not all(systems.holds_ellipsoidal_heights(systems.source_crs(each)) for each in (crs, grid))


def _step(
    between: Callable[[str, str, Area], Operation], crs: str, other: str, longitude: float, latitude: float
) -> float | None:
    try:
        operation = between(crs, other, Area(longitude, latitude, longitude, latitude))
        if operation.time_dependent:
            return None
        xyz = operation.forward(*np.array([[longitude], [latitude], [0.0]]))
        height = float(frames.to_geographic(*xyz, systems.ellipsoid_of(systems.source_crs(other)))[2][0])
    except (OperationError, CRSError, ProjError):
        return None
    return -height if math.isfinite(height) else None
