"""Where coordinates lie in their CRS's own datum, before any operation is chosen."""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from pyproj.crs import CRS

from pipeline.arrays import Floats
from pipeline.geodesy import crs as systems
from pipeline.geodesy import frames
from pipeline.geodesy.datum_steps import plain_conversion
from pipeline.geodesy.step_names import RAW
from pipeline.geodesy.transform import Operation

#: Metres: what is beyond is no height of any place.
_ANY_HEIGHT = 1e6


def lonlat(crs: str, first: ArrayLike, second: ArrayLike, third: ArrayLike) -> tuple[Floats, Floats]:
    """Return longitude and latitude (n,) [deg] in the CRS's own datum, as `own_places` does."""
    longitude, latitude, _ = own_places(crs, first, second, third)
    return longitude, latitude


def own_places(crs: str, first: ArrayLike, second: ArrayLike, third: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return longitude, latitude (n,) [deg] and height [m] in the CRS's own datum, before any operation is chosen.

    Coordinates (n,) in degrees and metres as `raw_to_working` takes them; a height that is not known counts as zero
    for the position (but not a geocentric Z). The height is the one given, that of X, Y, Z above the ellipsoid.
    Raises `OperationError` for a CRS that cannot be a source.
    """
    source, to_geocentric = _own_geocentric(crs)
    third = np.asarray(third, dtype=np.float64)
    if source.is_geographic:
        return np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64), third
    given = third
    if not source.is_geocentric:
        # a height that no place has would make the position one that is none
        given = np.where(np.abs(third) < _ANY_HEIGHT, third, 0.0)
    lon, lat, up = frames.to_geographic(*to_geocentric.forward(first, second, given), systems.ellipsoid_of(source))
    return lon, lat, up if source.is_geocentric else third


def own_plan(crs: str, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats] | None:
    """Return the first and second coordinate (n,) of a CRS at longitude and latitude (n,) [deg] in its own datum.

    The inverse of `lonlat`, in its units; None for X, Y, Z.
    """
    source, to_geocentric = _own_geocentric(crs)
    if source.is_geographic:
        return longitude, latitude
    if source.is_geocentric:
        return None
    place = frames.to_geocentric(longitude, latitude, np.zeros(len(longitude)), systems.ellipsoid_of(source))
    first, second, _ = to_geocentric.inverse(*place)
    return first, second


@lru_cache(maxsize=64)
def _own_geocentric(crs: str) -> tuple[CRS, Operation]:
    """Return the horizontal CRS of a text and its conversion to X, Y, Z: asked for with every batch, made once."""
    source = systems.horizontal_of(systems.source_crs(crs))
    return source, plain_conversion(source, RAW)
