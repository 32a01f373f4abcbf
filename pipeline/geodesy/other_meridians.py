"""Grids of the registry whose longitudes count from Paris, Ferro, Oslo and others, as grids that count from Greenwich.

No job is in one of the former; each of the latter gives the same eastings and northings.
"""

import re
import warnings
from functools import lru_cache

import numpy as np
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError, ProjError

from pipeline.geodesy import crs as systems
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.registry import Registered, projected, projected_at

#: Metres by which both may differ: the registry rounds meridians.
_SAME = 0.002
_LON_0 = re.compile(r"\+(lon_0|lonc)=(\S+)")
#: Parts of a text that say nothing of how a grid counts from Greenwich.
_LEFT_OUT = re.compile(r"\s*\+(?:pm=\S+|type=crs|no_defs|towgs84=\S+)")


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
    """Return the text of a grid that counts from Greenwich; None of one that does already, or has no such datum."""
    crs = systems.parse(code)
    base, meridian = crs.geodetic_crs, crs.prime_meridian
    if base is None or meridian is None or meridian.longitude == 0.0:
        return None
    datum = _datums().get(base.name.replace(f" ({meridian.name})", ""))
    if datum is None:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that the text leaves out the datum
        text = crs.to_proj4()
    degrees = meridian.longitude * np.degrees(meridian.unit_conversion_factor)
    text = _LON_0.sub(lambda each: f"+{each[1]}={float(each[2]) + degrees:.12g}", _LEFT_OUT.sub("", text))
    return f"{text.strip()} on {datum}"


def _alike(code: str, text: str, longitude: float, latitude: float) -> bool:
    """Tell whether a text is taken for a grid, and gives the same coordinates at a place as the one of the registry."""
    try:
        systems.target_grid(text)
        here = np.array([longitude]), np.array([latitude])
        return bool(np.allclose(projected(text, *here), projected(code, *here), rtol=0.0, atol=_SAME))
    except (OperationError, CRSError, ProjError):
        return False


@lru_cache(maxsize=1)
def _datums() -> dict[str, str]:
    """Return the geographic CRSs of the registry by their names."""
    found = query_crs_info("EPSG", PJType.GEOGRAPHIC_2D_CRS)
    return {info.name: f"EPSG:{info.code}" for info in found}
