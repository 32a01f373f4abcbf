"""Grids of the registry whose longitudes count from Paris, Ferro, Oslo and others, as grids that count from Greenwich.

No job is in one of the former; each of the latter gives the same eastings and northings.
"""

from functools import lru_cache

import numpy as np
from pyproj.exceptions import CRSError, ProjError

from pipeline.geodesy import crs as systems
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.from_greenwich import grid_from_greenwich
from pipeline.geodesy.registry import Registered, projected, projected_at

#: Metres by which both may differ: the registry rounds meridians.
_SAME = 0.002


def from_greenwich(longitude: float, latitude: float) -> list[Registered]:
    """Return the grids in use at a place [deg] that count from other meridians, as texts that count from Greenwich.

    Those without a datum of the registry that counts from Greenwich are left out.
    """
    found = []
    for one in projected_at(longitude, latitude):
        text = _text(one.code)
        if text is not None and _alike(one.code, text, longitude, latitude):
            found.append(Registered(text, f"{one.name} ({one.code}), counted from Greenwich", one.size, one.area))
    return found


@lru_cache(maxsize=512)
def _text(code: str) -> str | None:
    return grid_from_greenwich(systems.parse(code))


def _alike(code: str, text: str, longitude: float, latitude: float) -> bool:
    """Tell whether a text is taken for a grid, and gives the same coordinates at a place as the one of the registry."""
    try:
        systems.target_grid(text)
        here = np.array([longitude]), np.array([latitude])
        return bool(np.allclose(projected(text, *here), projected(code, *here), rtol=0.0, atol=_SAME))
    except (OperationError, CRSError, ProjError):
        return False
